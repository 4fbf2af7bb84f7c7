package inspect

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/read"
)

// group gathers files of one header.
type group struct {
	key     string
	look    read.Look
	options read.Options // as they had to be stated
	files   []File
	columns []*profile
	rows    int64
	// wide counts rows with another number of cells than the header.
	wide      int64
	firstWide Place
	// repeated counts rows that are the header again.
	repeated int64
	vouched  []string
	best     *reading
	all      []reading
	seen     *crossing
	// table is that of messages and resources, which say what their columns
	// are, and published the codes that come with them; nil for other files.
	table     *contract.Table
	published map[string]map[string]string
}

// lookAt looks at a file: it finds its group among groups or makes one, and
// profiles its rows. It returns the groups that are new. A workbook of several
// sheets is looked at sheet by sheet.
func lookAt(ctx context.Context, path string, o Options, groups []*group) (fresh []*group, refused []Refused) {
	fresh, several, err := lookAtFile(ctx, path, o, groups)
	switch {
	case several != nil:
		return lookAtSheets(ctx, path, several, o, groups)
	case err != nil:
		return nil, []Refused{{path, reason(path, err)}}
	}
	return fresh, nil
}

// lookAtFile is lookAt of a file of one table of cells, or of messages. several
// are the sheets of a workbook among which site.yaml must choose.
func lookAtFile(ctx context.Context, path string, o Options, groups []*group) (fresh []*group, several []string, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, nil, unwrapped(err)
	}
	if info.IsDir() {
		return nil, nil, fmt.Errorf("found a folder, wanted a file: name its files, such as %s", filepath.Join(path, "*"))
	}
	if !info.Mode().IsRegular() {
		return nil, nil, errors.New("found a device or a pipe, wanted a file")
	}
	f, options, err := open(path)
	if err != nil {
		// What was found before the fault: hidden sheets are nobody's exports.
		if look, _ := read.LookAt(path, read.Options{}); look.Sheet == "" && len(look.Shown) > 1 {
			return nil, look.Shown, nil
		}
		return nil, nil, unwrapped(err)
	}
	defer f.Close()
	fresh, err = lookInto(ctx, path, f, o, options, groups)
	return fresh, nil, err
}

// lookAtSheets looks at each sheet of a workbook as at a file of its own. Sheets
// that are no exports are returned among the refused.
func lookAtSheets(ctx context.Context, path string, sheets []string, o Options, groups []*group) (fresh []*group, refused []Refused) {
	for _, sheet := range sheets {
		options := read.Options{Sheet: sheet}
		titled(path, &options)
		f, err := read.Open(path, options)
		if err == nil {
			var more []*group
			more, err = lookInto(ctx, path, f, o, options, append(slices.Clone(groups), fresh...))
			fresh = append(fresh, more...)
			f.Close()
		}
		if err != nil {
			refused = append(refused, Refused{fmt.Sprintf("%s (sheet %q)", path, sheet), reason(path, unwrapped(err))})
		}
	}
	return fresh, refused
}

// lookInto finds the group of an open file among groups or makes one, and
// profiles the file's rows.
func lookInto(ctx context.Context, path string, f *read.File, o Options, options read.Options, groups []*group) ([]*group, error) {
	if f.Look.Format == read.HL7 || f.Look.Format == read.FHIR {
		return lookAtMessages(ctx, path, o, options, f.Look, groups)
	}
	names := f.Names()
	if len(names) == 0 {
		return nil, errors.New("found nothing in it, wanted a header and rows: export it again")
	}
	if slices.ContainsFunc(names, isLikeCell) {
		return nil, errors.New(noHeader)
	}
	key := fmt.Sprint(options.Encoding, "\x00", options.Delimiter, "\x00", options.Sheet, "\x00", options.HeaderRow, "\x00", f.Look.Format, "\x00", plain(strings.Join(names, "\x00")))
	g, isNew := groupOf(key, f.Look, options, names, o, groups)
	if err := g.profile(ctx, f, path, o); err != nil {
		return nil, unwrapped(err)
	}
	if !isNew {
		return nil, nil
	}
	return []*group{g}, nil
}

// groupOf finds the group of a key, or makes one.
func groupOf(key string, look read.Look, options read.Options, names []string, o Options, groups []*group) (g *group, isNew bool) {
	for _, known := range groups {
		if known.key == key {
			return known, false
		}
	}
	g = &group{key: key, look: look, options: options, vouched: o.Vouched}
	for _, name := range names {
		g.columns = append(g.columns, newProfile(name))
	}
	return g, true
}

// unwrapped takes the path out of an error of the disk.
func unwrapped(err error) error {
	var path *os.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// errEnough ends the reading of a file once enough rows were seen.
var errEnough = errors.New("enough rows")

// eachRow calls use for at most most rows of an export (0: all) with their cells
// trimmed, and says whether there are more.
func eachRow(ctx context.Context, f *read.File, most int64, w *watch, use func(place int64, cells [][]byte)) (n int64, more bool, err error) {
	for stretch, err := range f.Stretches() {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return n, false, err
		}
		err := stretch.Rows(func(row read.Row) bool {
			if most > 0 && n == most {
				more = true
				return false
			}
			n++
			for i := range row.Cells {
				row.Cells[i] = trimmed(row.Cells[i])
			}
			use(row.Place, row.Cells)
			return true
		})
		stretch.Release()
		w.read(f)
		if err != nil {
			return n, false, err
		}
		if more {
			return n, true, nil
		}
	}
	return n, false, nil
}

// profile reads the rows of one file into the group's columns. A file that
// breaks off is refused whole, but what was seen of it stays in the sums.
func (g *group) profile(ctx context.Context, f *read.File, path string, o Options) error {
	base := filepath.Base(path)
	date, _ := dateIn(base)
	near, far := latestDays(date)
	latest := make([]int, len(g.columns))
	for i, p := range g.columns {
		latest[i] = near
		if means(tokens(p.name), "expiry") {
			latest[i] = far
		}
	}
	var scratch []byte
	var none int64 // rows of messages that are none of the table's
	n, more, err := eachRow(ctx, f, o.Rows, o.watch, func(place int64, cells [][]byte) {
		if cells == nil {
			none++
			return
		}
		at := Place{base, place}
		if len(cells) != len(g.columns) {
			if g.wide == 0 {
				g.firstWide = at
			}
			g.wide++
			return
		}
		same := 0
		for i, p := range g.columns {
			if strings.EqualFold(string(cells[i]), p.name) {
				same++
			}
		}
		if same == len(cells) {
			g.repeated++
			return
		}
		for i, p := range g.columns {
			scratch = p.add(cells[i], at, latest[i], scratch)
		}
	})
	if err != nil {
		return err
	}
	n -= none
	g.rows += n
	g.files = append(g.files, File{Path: path, Rows: n, Part: more, Date: date})
	return nil
}

// latestDays gives the last days that times, and expiries, of a file made on a
// date can be of: procedures are planned months ahead, plasma keeps for years.
func latestDays(date string) (near, far int) {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return 0, 0
	}
	number := func(t time.Time) int { return t.Year()*10_000 + int(t.Month())*100 + t.Day() }
	return number(day.AddDate(1, 1, 0)), number(day.AddDate(10, 0, 0))
}

// noHeader says that a first line is data and not names of columns.
const noHeader = "found a first line that looks like data, wanted one with the names of the columns: export it with a header"

// understand chooses the table.
func (g *group) understand() {
	if g.table != nil {
		g.understandMessages()
		return
	}
	g.all = understand(g.columns, strings.TrimSuffix(filepath.Base(g.files[0].Path), filepath.Ext(g.files[0].Path)))
	if len(g.all) == 0 {
		return
	}
	if first := &g.all[0]; len(first.missing) == 0 {
		g.best = first
	}
}

// margin is by how much the best table must lead for the choice to be sure.
const margin = 0.6

// sure says that no other table that has all it needs comes near the best.
func (g *group) sure() bool {
	if g.best == nil {
		return false
	}
	for _, one := range g.all[1:] {
		if len(one.missing) == 0 && g.best.score-one.score < margin {
			return false
		}
	}
	return true
}

// role gives the file's column that has a role, or -1.
func (g *group) role(names ...string) int {
	for _, name := range names {
		if i := g.best.roleOf(name); i >= 0 {
			return i
		}
	}
	return -1
}

// isCoded reports whether column i has a role whose codes are mapped.
func (g *group) isCoded(i int) bool {
	if g.best == nil {
		return false
	}
	one, has := g.best.roles[i]
	return has && coded(g.best.table, one.name) && g.best.table.Column(one.name).Kind != contract.Instant
}
