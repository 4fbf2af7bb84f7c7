package inspect

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/read"
	"thawline/internal/site"
)

// lookAtMessages makes a group for each table of which a file of messages or
// resources holds rows: one file may be named by several feeds.
func lookAtMessages(ctx context.Context, path string, o Options, options read.Options, look read.Look, groups []*group) (fresh []*group, err error) {
	found := false
	for _, t := range contract.Feeds() {
		options.Table = t
		f, err := read.Open(path, options)
		var fault *read.Error
		if errors.As(err, &fault) {
			continue // The format has no rows of this table.
		}
		if err != nil {
			return nil, unwrapped(err)
		}
		g, isNew := groupOf(fmt.Sprint(look.Format, "\x00", t.Name), look, options, f.Names(), o, groups)
		g.table, g.published = t, f.Codes()
		known := len(g.files)
		err = g.profile(ctx, f, path, o)
		f.Close()
		if err != nil {
			return nil, unwrapped(err)
		}
		if g.files[known].Rows == 0 || t == contract.Measures && !g.measures() {
			g.files = g.files[:known]
			continue
		}
		found = true
		if isNew {
			fresh = append(fresh, g)
		}
	}
	if !found {
		return nil, errors.New("found messages or resources, and none that hold rows of a table: thawline describe lists the tables, README.md what is read of messages")
	}
	return fresh, nil
}

// measures reports whether any result is known for a weight or a height: each
// file of results could be said to hold some.
func (g *group) measures() bool {
	for _, p := range g.columns {
		if p.name != "kind" && p.name != "loinc" {
			continue
		}
		for text := range p.texts {
			word, _ := normalise.LOINC(text)
			if slices.Contains(contract.Measures.Column("kind").Codes, word) || codeOf("measures", "kind", text) != "" {
				return true
			}
		}
	}
	return false
}

// understandMessages takes each column for what the format says it is.
func (g *group) understandMessages() {
	r := reading{table: g.table, roles: map[int]role{}, others: map[int][]role{}}
	for i, p := range g.columns {
		c := g.table.Column(p.name)
		// Of a status that only takes rows out the format knows all there is.
		stands := c != nil && (p.name != "status" || g.table == contract.Labs) && !slices.ContainsFunc(g.columns, func(other *profile) bool { return site.RawOf[other.name] == p.name })
		if stands {
			r.roles[i] = role{column: i, name: p.name, score: 1, header: 1}
		}
	}
	g.all = []reading{r}
	g.best = &g.all[0]
}

// understood reports whether a local code needs no map: it is published with
// the format, or a code of LOINC.
func (g *group) understood(column, code string) bool {
	if word := g.published[column][strings.ToLower(code)]; word != "" {
		return true
	}
	word, known := normalise.LOINC(code)
	c := g.best.table.Column(column)
	return known && c != nil && slices.Contains(c.Codes, word)
}
