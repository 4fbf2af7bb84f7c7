package inspect

import (
	"context"
	"hash/maphash"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/normalise"
	"thawline/internal/read"
	"thawline/internal/site"
)

// enoughPersons is how many patients must share a text before it is shown, and
// enoughRows in how many rows it must stand.
const (
	enoughPersons = 5
	enoughRows    = 5
)

// mostValues is how many values of one code are kept, to tell its middle half.
const mostValues = 2000

// crossing is what a second reading tells of codes beside other columns.
type crossing struct {
	// codes gives, for the file's columns that hold codes, what stands beside each.
	codes map[int]map[string]*beside
	// persons says that a column of patients is known.
	persons bool
	// describes is the column that describes products, or -1.
	describes int
	// texts are the words in place of a result's number, as far as they are few;
	// textsMore counts the rows of others.
	texts     map[string]*beside
	textsMore int64
	// unitsShown is what group.unitsShown found, once asked.
	unitsShown map[string]bool
	// late counts times after the date in their file's name, of dated.
	late, dated int64
	firstLate   Place
}

// beside is what stands in the rows of one code.
type beside struct {
	rows     int64
	persons  map[uint64]struct{}
	units    map[string]int64
	noUnit   int64
	unitless []float64
	volumes  []float64
	names    map[string]int64
}

var seed = maphash.MakeSeed()

// cross reads the group's files again, now that it is known which column is what.
func (g *group) cross(ctx context.Context, o Options) error {
	x := &crossing{codes: map[int]map[string]*beside{}, describes: -1}
	g.seen = x
	for i, p := range g.columns {
		if _, has := g.best.roleAt(i); p.texts != nil && (g.isCoded(i) || !has && g.looseCodes(i)) {
			x.codes[i] = map[string]*beside{}
		}
	}
	person := g.role("patient_id")
	if g.best == nil && len(g.all) > 0 {
		person = g.all[0].roleOf("patient_id")
	}
	if person < 0 {
		person = g.personLike()
	}
	x.persons = person >= 0
	g.describer()
	var times []int
	for i := range g.columns {
		if g.isPast(i) {
			times = append(times, i)
		}
	}
	if tableOf(g.best) == contract.Labs && g.role("value_raw") >= 0 {
		x.texts = map[string]*beside{}
	}
	if len(x.codes) == 0 && len(times) == 0 && x.texts == nil {
		return nil
	}
	c := crossed{group: g, person: person, item: g.role("unit_no"), test: g.role("test", "kind"), unit: g.role("unit_raw"), value: g.role("value_raw"),
		product: g.role("product_code"), volume: g.role("volume_ml"), times: times, layouts: g.layouts()}
	for _, file := range g.files {
		o.watch.begin(file.Path)
		if err := c.read(ctx, file, o); err != nil {
			return err
		}
		o.watch.end()
	}
	return nil
}

// personLike is a column of numbers that may be of persons, where none is named
// so: the most varied one that is neither times nor measurements.
func (g *group) personLike() int {
	best, most := -1, int64(0)
	for i, p := range g.columns {
		if g.best != nil {
			if _, has := g.best.roles[i]; has {
				continue
			}
		}
		if p.filled > most && p.varied() && p.timed() == 0 && p.commas+p.points == 0 && p.share(p.standard) < 0.5 {
			best, most = i, p.filled
		}
	}
	return best
}

// describer finds the column that says in words what a product is.
func (g *group) describer() {
	if tableOf(g.best) != contract.Issues {
		return
	}
	best := 0.0
	for i, p := range g.columns {
		if _, has := g.best.roles[i]; has || p.texts == nil || len(p.texts) > mostCodes {
			continue
		}
		known := int64(0)
		for text, n := range p.texts {
			if productOf(text) != "" {
				known += n
			}
		}
		score := p.share(known)
		if score > best && score >= 0.3 {
			g.seen.describes, best = i, score
		}
	}
}

// isPast reports whether column i holds times that cannot be after the export.
func (g *group) isPast(i int) bool {
	if g.best == nil {
		return false
	}
	one, has := g.best.roles[i]
	if !has || g.best.table == contract.Events {
		return false
	}
	return g.best.table.Column(one.name).Kind == contract.Instant && one.name != "expires_at"
}

// layouts are the proven forms of the group's times, made ready.
func (g *group) layouts() []*normalise.TimeForm {
	var all []*normalise.TimeForm
	proven, _ := g.forms()
	for _, f := range proven {
		all = append(all, normalise.NewTimeForm(f.Layout))
	}
	return all
}

// crossed holds the places of the columns that are read beside each other.
type crossed struct {
	*group
	// item is the unit, which stands in for a patient where none is told.
	person, item, test, unit, value, product, volume int
	times                                            []int
	layouts                                          []*normalise.TimeForm
}

func (c *crossed) read(ctx context.Context, file File, o Options) error {
	f, err := read.Open(file.Path, c.options)
	if err != nil {
		return err
	}
	defer f.Close()
	made := 0
	if file.Date != "" {
		made = dayOf(madeBy(filepath.Base(file.Path)))
	}
	base := filepath.Base(file.Path)
	_, _, err = eachRow(ctx, f, o.Rows, o.watch, func(place int64, cells [][]byte) {
		if len(cells) != len(c.columns) {
			return
		}
		for i, codes := range c.seen.codes {
			if len(cells[i]) > 0 {
				c.note(i, codes, cells)
			}
		}
		if c.seen.texts != nil {
			c.noteText(cells[c.value], cells)
		}
		if made > 0 {
			for _, i := range c.times {
				c.lateness(cells[i], made, Place{base, place})
			}
		}
	})
	return err
}

// noteText notes a cell in place of a number.
func (c *crossed) noteText(cell []byte, cells [][]byte) {
	if len(cell) == 0 || normalise.MarkOf(cell) != normalise.NoMark {
		return
	}
	if _, _, ok := normalise.Number(cell); ok {
		return
	}
	if c.seen.texts[string(cell)] == nil && len(c.seen.texts) >= mostTexts {
		c.seen.textsMore++
		return
	}
	c.bear(cell, c.seen.texts, cells)
}

func (c *crossed) note(i int, codes map[string]*beside, cells [][]byte) {
	b := c.bear(cells[i], codes, cells)
	switch i {
	case c.test:
		c.measured(b, cells)
	case c.product:
		if c.volume >= 0 && len(b.volumes) < mostValues {
			if v, _, ok := normalise.Number(cells[c.volume]); ok {
				b.volumes = append(b.volumes, v)
			}
		}
		if d := c.seen.describes; d >= 0 && len(b.names) < 20 {
			b.names[string(cells[d])]++
		}
	}
}

// bear counts a row of a code, and who it is of.
func (c *crossed) bear(code []byte, codes map[string]*beside, cells [][]byte) *beside {
	b := codes[string(code)]
	if b == nil {
		b = &beside{persons: map[uint64]struct{}{}, units: map[string]int64{}, names: map[string]int64{}}
		codes[string(code)] = b
	}
	b.rows++
	if c.person >= 0 && len(b.persons) < enoughPersons {
		who := cells[c.person]
		if len(who) == 0 && c.item >= 0 {
			who = cells[c.item]
		}
		if len(who) > 0 {
			b.persons[maphash.Bytes(seed, who)] = struct{}{}
		}
	}
	return b
}

// measured notes the unit of a result, or its value where it has none.
func (c *crossed) measured(b *beside, cells [][]byte) {
	if c.unit >= 0 && len(cells[c.unit]) > 0 {
		if n, known := b.units[string(cells[c.unit])]; known || len(b.units) < 50 {
			b.units[string(cells[c.unit])] = n + 1
		}
		return
	}
	if c.value < 0 {
		return
	}
	v, limit, ok := normalise.Number(cells[c.value])
	if !ok {
		return
	}
	b.noUnit++
	if !limit && len(b.unitless) < mostValues {
		b.unitless = append(b.unitless, v)
	}
}

func (c *crossed) lateness(cell []byte, made int, at Place) {
	w, ok := normalise.ReadISO(cell)
	for i := 0; !ok && i < len(c.layouts); i++ {
		w, ok = c.layouts[i].Read(cell)
	}
	if !ok {
		return
	}
	c.seen.dated++
	if dayNumber(w) > made {
		if c.seen.late == 0 {
			c.seen.firstLate = at
		}
		c.seen.late++
	}
}

// middle gives the quartiles of values; false where there are too few to tell.
func middle(values []float64) (low, high float64, ok bool) {
	if len(values) < enoughRows {
		return 0, 0, false
	}
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/4], sorted[len(sorted)*3/4], true
}

// usual gives the value that most of values are, where over half are.
func usual(values []float64) (float64, bool) {
	counts := map[float64]int{}
	for _, v := range values {
		counts[v]++
	}
	for v, n := range counts {
		if 2*n > len(values) && len(values) >= enoughRows {
			return v, true
		}
	}
	return 0, false
}

// unitOf gives the unit that a spelling means: one that site.yaml knows by
// itself, or a plain local spelling of one.
func unitOf(text string) (unit string, itself bool) {
	if isUnit(text) {
		return text, true
	}
	return words.codes["units"][plain(text)], false
}

// fitsUnit reports whether a unit, as written, can be that analyte's.
func fitsUnit(analyte, text string) bool {
	unit, _ := unitOf(text)
	if unit == "" {
		unit = text
	}
	_, known := site.UnitOf(analyte, unit)
	return known
}

// canonical analytes need no unit.
func needsUnit(analyte string) bool {
	return analyte != "inr" && !strings.HasSuffix(analyte, "_ratio")
}
