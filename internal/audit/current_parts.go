package audit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/store"
)

// partsName is the file of the layer that tells what each file of a year was
// made from, so that a month's export makes anew only the years that it touches.
const partsName = "parts.json"

// allParts is what parts.json holds: labs by the name of their file, issues and
// bedside by year.
type allParts struct {
	Labs  map[string]labPart  `json:"labs"`
	Units map[string]unitPart `json:"units"`
}

// partRows tells what became of the stored rows of one table in one year.
type partRows struct {
	Current    int64 `json:"current"`
	Superseded int64 `json:"superseded"`
	Cancelled  int64 `json:"cancelled"`
	GivenWay   int64 `json:"given_way"`
}

// countPart adds the rows of one year, under a condition, that did not stay.
func (b *builder) countPart(ctx context.Context, t *contract.Table, condition string, p *partRows) error {
	var gone CurrentTable
	err := b.countGone(ctx, t, condition, &gone)
	p.Superseded += gone.Superseded
	p.Cancelled += gone.Cancelled
	p.GivenWay += gone.GivenWay
	return err
}

// addTo adds the rows to the line of their table.
func (p partRows) addTo(line *CurrentTable) {
	line.Current += p.Current
	line.Superseded += p.Superseded
	line.Cancelled += p.Cancelled
	line.GivenWay += p.GivenWay
}

// keptParts reads what the layer as it stands was made from, and its files by
// name. Where parts.json is damaged nothing is known, and all is made anew.
func (b *builder) keptParts() error {
	b.kept = map[string]store.File{}
	b.made = allParts{Labs: map[string]labPart{}, Units: map[string]unitPart{}}
	for _, f := range b.st.Layer("current") {
		if filepath.Base(f.Path) != partsName {
			b.kept[f.Name] = f
			continue
		}
		text, err := os.ReadFile(f.Path)
		if err == nil && store.SHA256(text) == f.SHA256 {
			err = json.Unmarshal(text, &b.old)
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s: %w", f.Path, err)
		}
	}
	return nil
}

// keep takes a file over from the layer as it stands, where it has one of that name.
func (b *builder) keep(name string) {
	if f, found := b.kept[name]; found {
		b.files = append(b.files, f)
		b.report.Kept++
	}
}

// writeParts writes parts.json.
func (b *builder) writeParts(dir string) error {
	text, err := json.MarshalIndent(b.made, "", "  ")
	if err != nil {
		return err
	}
	path := filepath.Join(dir, partsName)
	if err := os.WriteFile(path, append(text, '\n'), 0o640); err != nil {
		return err
	}
	f, err := store.Describe(path)
	if err != nil {
		return err
	}
	b.files = append(b.files, f)
	return nil
}

// aliasTexts turns rows of year, alias and the number in which it ends into one
// text a year, to be hashed: an alias that no row bears makes no file anew.
func aliasTexts(rows [][]any) map[int64]string {
	texts := map[int64]*strings.Builder{}
	for _, row := range rows {
		year := row[0].(int64)
		if texts[year] == nil {
			texts[year] = &strings.Builder{}
		}
		fmt.Fprintf(texts[year], "%q %q\n", row[1], row[2])
	}
	told := map[int64]string{}
	for year, text := range texts {
		told[year] = text.String()
	}
	return told
}
