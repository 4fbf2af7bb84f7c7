package pack

import (
	"encoding/json"
	"fmt"
	"html/template"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/store"
)

// indexPage lists every pack of a store.
type indexPage struct {
	Hospital, Confidentiality, Cautions string
	CSS                                 template.CSS
	Heads                               []string
	Packs                               []indexLine
}

// indexLine is one pack with its headline figures, as it said them.
type indexLine struct {
	Folder, Period, ReportDate string
	Provisional                bool
	Figures                    []headline

	run run
}

// index makes the page that leads to the store's packs, this one among them.
func (in *input) index(st *store.Store, mine *bundle) ([]byte, error) {
	page := &indexPage{Hospital: in.hospital, Confidentiality: in.confidence(), Cautions: in.w("cautions"), CSS: template.CSS(packCSS)}
	own := periodName(in.from, in.to)
	page.Packs = append(page.Packs, indexLine{Folder: own, run: mine.told})
	for _, name := range st.Packs() {
		if path.Base(name) == own {
			continue
		}
		for _, f := range st.Layer(name) {
			if filepath.Base(f.Path) != "run.json" {
				continue
			}
			text, err := os.ReadFile(f.Path)
			if err != nil {
				return nil, fmt.Errorf("read what an earlier pack said: %w", err)
			}
			line := indexLine{Folder: path.Base(name)}
			if err := json.Unmarshal(text, &line.run); err != nil {
				return nil, fmt.Errorf("%s: cannot be read (%w): make that pack again with thawline report --period %s", f.Path, err, line.Folder)
			}
			page.Packs = append(page.Packs, line)
		}
	}
	slices.SortFunc(page.Packs, func(a, b indexLine) int {
		if a.run.To != b.run.To {
			return strings.Compare(b.run.To, a.run.To)
		}
		return strings.Compare(b.run.From, a.run.From)
	})
	for _, h := range mine.told.Headlines {
		page.Heads = append(page.Heads, h.Label)
	}
	for i := range page.Packs {
		line := &page.Packs[i]
		line.ReportDate, line.Provisional = in.dayOf(line.run.ReportDate), len(line.run.Provisional) > 0
		line.Period = in.periodOf(line.run.From, line.run.To)
		line.Figures = alike(mine.told.Headlines, line.run.Headlines)
	}
	return in.fill("index", indexText, page)
}

// alike are the figures that head another pack, in the order of those of this one. An
// older program may have told other figures, and an older pack may have been written in
// another language.
func alike(mine, theirs []headline) (all []headline) {
	for _, one := range mine {
		at := slices.IndexFunc(theirs, func(h headline) bool { return h.Key == one.Key || h.Key == "" && h.Label == one.Label })
		if at < 0 {
			all = append(all, headline{Figure: "–"})
		} else {
			all = append(all, theirs[at])
		}
	}
	return all
}
