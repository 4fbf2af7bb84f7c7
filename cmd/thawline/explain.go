package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"

	"thawline/internal/audit"
)

type explainCommand struct {
	where
	Episode string `arg:"" help:"The episode's number as cases.html shows it, or its episode_id."`
	JSON    bool   `name:"json" help:"As JSON."`
}

// Run tells how one episode came by its mark. It shows the records themselves:
// it is for those who may see them.
func (c *explainCommand) Run(ctx context.Context, s *streams) error {
	site, p, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	e, err := audit.OpenReader(ctx, st, site)
	if err != nil {
		return err
	}
	defer e.Close()
	key, err := st.Key()
	if err != nil {
		return err
	}
	id, err := audit.FindEpisode(ctx, e, key, c.Episode)
	if err != nil {
		return err
	}
	x, err := audit.Explain(ctx, e, p, id)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.json(x)
	}
	fmt.Fprintf(s.out, "Episode %s: %s\nbecause %s\n", audit.Pseudonym(key, audit.EpisodeKind, id), x.Mark, x.Because)
	for _, section := range x.Sections {
		fmt.Fprintf(s.out, "\n%s\n", section.Title)
		if len(section.Rows) > 0 {
			w := tabwriter.NewWriter(s.out, 2, 4, 2, ' ', 0)
			fmt.Fprintln(w, "  "+strings.Join(section.Columns, "\t"))
			for _, row := range section.Rows {
				fmt.Fprintln(w, "  "+strings.Join(row, "\t"))
			}
			w.Flush()
		}
		for _, note := range section.Notes {
			fmt.Fprintf(s.out, "  %s\n", note)
		}
	}
	s.say("\n%s", cautions)
	return nil
}
