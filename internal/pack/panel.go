package pack

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"thawline/internal/chart"
	"thawline/internal/figure"
)

type panel struct {
	ID, Asks, Says, Beside string
	// NOf, Interval and NotKnown are the line under the sentence.
	NOf, Interval, NotKnown, LeftOut string
	Notes                            []string
	// Figure marks where the chart stands, if there is one (figureHere).
	Figure template.HTML
	// SVG is the chart, Scale the numbers on its axis to stand over one that is scrolled;
	// the legend and the names of the axes, over it and at its foot, stand around it.
	SVG, Scale template.HTML
	Legend     []chart.Sign
	Over, Foot string
	TooFew     string
	Heads      []head
	Rows       [][]cell
	// Short says that the notes find room under the table, Brief that the sentence does
	// too, on paper; Tall that the table is higher than a page is looked at, Crowded that
	// it has many columns, Wide that it does not fit beside its chart, Under that on
	// paper it stands under it, Held that it is so short that it stays on one page with it
	// there, Halves that it has two columns there, and Late that the chart's end is what
	// the pack speaks of: its last month.
	Short, Brief, Tall, Crowded, Wide, Under, Held, Halves, Late bool
	// Cards says that on a phone each row is a card, and Voids names the columns that are
	// left out there.
	Cards bool
	Voids string
}

// What rows of a table take beside a chart: under so many, notes stand under the
// table, where they fill what would be blank; a table of more than so many scrolls
// on a screen.
const (
	shortRows = 14
	tallRows  = 40
	// crowdedHeads are so many columns that their type is smaller on a screen.
	crowdedHeads = 8
	// besideLetters is how many letters wide a table may be to fit beside its chart, and
	// besideRows how many rows it may have on paper: a chart and what stands beside it
	// are not parted, so that what is high leaves half a page blank before it.
	besideLetters = 42
	besideRows    = 16
	// briefRows are so few that the sentence fits over them beside the chart.
	briefRows = 8
	// heldRows are so few that a table is not parted from the chart over it.
	heldRows = 5
	// columnRows are so many rows that a table is set in two columns under its chart, if
	// it is at most columnLetters wide with its texts on one line, and no head of it has
	// more than headWords: a browser repeats no head that takes over a quarter of a
	// column. Columns are not parted, so that a table of tallRows has none.
	columnRows    = 20
	columnLetters = 58
	headWords     = 4
	// lateMonths are so many that the first ones are of less interest than the last.
	lateMonths = 6
	// proseLetters are more than a few words have.
	proseLetters = 24
	// longLetters is the longest word that a column can bear, stoutLetters the longest that
	// a head has room for where it is kept narrow.
	longLetters  = 24
	stoutLetters = 15
	// wordLetters is how many letters wide words must have room.
	wordLetters = 16
)

// letters is how many letters wide a table is at the least: of each column the longest
// word of its head, its longest number, or room for its words, limit letters wide.
func letters(p *panel, limit int) (all int) {
	for i, head := range p.Heads {
		widest := 0
		for _, word := range strings.Fields(head.Title) {
			widest = max(widest, len([]rune(word)))
		}
		for _, row := range p.Rows {
			n := len([]rune(row[i].Text))
			if !row[i].Numeric && !row[i].Whole {
				n = min(n, limit)
			}
			widest = max(widest, n)
		}
		all += widest
	}
	return all
}

// layOut says how the panel's table stands to its chart.
func (p *panel) layOut() {
	rows := len(p.Rows)
	p.Short, p.Brief, p.Tall, p.Crowded = rows <= shortRows, rows <= briefRows, rows > tallRows, len(p.Heads) >= crowdedHeads
	p.Wide = letters(p, wordLetters) > besideLetters
	p.Under, p.Held = p.Wide || rows > besideRows, rows <= heldRows
	p.Halves = rows >= columnRows && !p.Tall && letters(p, math.MaxInt) <= columnLetters &&
		!slices.ContainsFunc(p.Heads, func(h head) bool { return len(strings.Fields(h.Title)) > headWords })
}

type head struct {
	Title string
	// Void says that the column holds no number at all.
	Numeric, Long, Void bool
}

// Class is how a head is set.
func (h head) Class() string {
	var all []string
	for _, one := range []struct {
		is   bool
		name string
	}{{h.Numeric, "n"}, {h.Long, "long"}, {!h.Long && longest(h.Title) > stoutLetters, "stout"}, {h.Void, "void"}} {
		if one.is {
			all = append(all, one.name)
		}
	}
	return strings.Join(all, " ")
}

// long says that a word of the text is longer than a column can bear.
func long(text string) bool { return longest(text) > longLetters }

// longest is how many letters the longest word of a text has.
func longest(text string) (letters int) {
	for _, word := range strings.Fields(text) {
		letters = max(letters, len([]rune(word)))
	}
	return letters
}

type cell struct {
	Text            string
	Numeric, Hidden bool
	// Whole says that it stands on one line, Long that a word of it may be broken,
	// Prose that it is a sentence, which wants a wide column, and Void that no number
	// stands in its column.
	Whole, Long, Prose, Void bool
}

// Class is how a cell is set.
func (c cell) Class() string {
	switch {
	case c.Hidden:
		return "n hid"
	case c.Numeric && c.Void:
		return "n void"
	case c.Numeric:
		return "n"
	case c.Whole:
		return "whole"
	case c.Long:
		return "long"
	case c.Prose:
		return "prose"
	}
	return ""
}

// panel says and draws a figure that is disclosed already.
func (fs *figures) panel(p figure.Panel, f *figure.Figure) panel {
	in := fs.in
	out := panel{ID: "f-" + p.Figure, Asks: p.Asks, Says: f.Say(p, in.format, in.when()), Beside: p.Beside, LeftOut: f.NotKnown}
	for n := 2; fs.ids[out.ID]; n++ {
		out.ID = fmt.Sprintf("f-%s-%d", p.Figure, n)
	}
	fs.ids[out.ID] = true
	if out.Asks == "" {
		out.Asks = f.Asks
	}
	of, hasOf := f.Values["of"]
	// Of a month of which nothing was read there is nothing to say.
	blank := hasOf && of.Value == int64(0) && strings.Contains(p.SaysNone, "{period}") && in.unreadPeriod()
	if blank {
		out.Says = in.w("unread_period", in.period())
	}
	// A second look at a figure speaks of something else than what its n counts.
	hidden, again := f.HiddenCells > 0, fs.done[p.Figure] != nil
	if again {
		hidden = slices.ContainsFunc(f.Rows, func(row []figure.Cell) bool {
			return slices.ContainsFunc(row, func(c figure.Cell) bool { return c.Hidden })
		})
	} else {
		if n, hasN := f.Values["n"]; hasN && told(n) && hasOf && told(of) && of.Value != int64(0) {
			out.NOf = in.w("of", in.shown(f, "n"), in.shown(f, "of"))
		}
		if !p.NoInterval {
			out.Interval = f.Interval(in.format)
		}
		if n, ok := f.Values["not_known"]; ok && told(n) && of.Value != int64(0) {
			out.NotKnown = in.shown(f, "not_known")
		}
	}
	if fs.nothing(p) {
		out.NOf, out.Interval = "", ""
	}
	look := chart.Look{ID: out.ID, Asks: out.Asks, Says: out.Says, Hidden: in.w("hidden"), Sized: in.w("hidden_sized"), Open: in.w("hidden_open"), Format: in.format}
	if low, high, tolerance, ok := in.band(p); ok {
		says := "band_counts"
		if p.Chart == "histogram" && !empty(f) && chart.Told(f, p) > 0 {
			// What counts as within is shaded, so that bars and sentence say one thing.
			says, look.Band = "shaded", []float64{low - tolerance, high + tolerance}
		}
		number := func(x float64) string { return in.format.Number(x, 2) }
		out.Notes = append(out.Notes, in.w(says, number(low), number(high), number(low-tolerance), number(high+tolerance), number(tolerance)))
	}
	if p.Figure == "reviews" && in.reviewsLater > 0 {
		later := in.w("reviews_later", in.reviewsLater, in.reportDate())
		if out.Notes = append(out.Notes, later); of.Value == int64(0) {
			out.Says = later
		}
	}
	if p.Note != "" {
		out.Notes = append(out.Notes, f.Note(p, in.format, in.when()))
	}
	out.Late = p.Chart != "table" && f.Points[f.Index(p.X)].Kind == figure.Month && len(f.Rows) >= lateMonths
	fs.lines(p, f, &look, &out)
	if p.Figure == "restated" {
		for _, note := range []string{in.redrawn(), in.lastRedrawn()} {
			if note != "" {
				out.Notes = append(out.Notes, note)
			}
		}
	}
	if note := in.missingNote(f); note != "" {
		out.Notes = append(out.Notes, note)
	}
	if p.Chart == "control" || p.Chart == "rate" {
		// Months before those that charts show were there for the statistics alone.
		undrawn := f.RowsBefore(p.X, in.historyFrom)
		f.DropRows(undrawn)
		look.Limits = look.Limits.DropRows(undrawn)
		if !again {
			hidden = f.HiddenCells > 0
		}
	}
	lines := in.marked(f, p, &look)
	if p.Chart != "before_after" {
		// That chart only looks again at a figure that has a panel of its own.
		fs.done[p.Figure] = f
	}
	if p.Chart == "before_after" && f.Index("fitted") < 0 {
		// Nothing was added to the table, which stands under the figure's own panel.
		return out
	}
	if blank && !byMonth(f) {
		if out.Notes, out.TooFew = nil, ""; f.AllZero() || p.Chart != "table" {
			return out
		}
		// What else the table tells stays, as of the twelve months.
		f.ForgetColumn("period")
	}
	if p.SaysZero != "" && f.Zero() && f.AllZero() {
		return out
	}
	if p.Chart == "table" {
		// A table needs no picture: its sentence says where it is empty.
	} else if (hasOf && of.Value == int64(0) && p.SaysNone != "" || fs.replaced(p)) && (f.AllZero() || fs.nothing(p)) {
		// The sentence says that there is nothing: noughts would say it again.
		out.Notes, out.TooFew = nil, ""
		return out
	} else if empty(f) {
		out.TooFew = in.tooFew(f)
	} else if out.TooFew == "" {
		if out.TooFew = in.fewTold(f, p); out.TooFew == "" {
			fs.draw(out.ID, f, p, look)
			if lines != "" && chart.ByMonth(p) {
				out.Notes = append(out.Notes, lines)
			}
		}
	}
	if hidden && p.Hidden != "" {
		out.Says += " " + p.Hidden
	}
	if hidden {
		out.Notes = append(out.Notes, in.w("hidden_note", in.format.Small))
	}
	if away := in.notDrawn(f, p); away != "" && out.TooFew == "" {
		out.Notes = append(out.Notes, away)
	}
	if p.Chart != "table" && f.AllHidden() {
		// Months or bands with nothing but that word beside them tell nothing.
		out.TooFew = in.w("all_hidden")
		return out
	}
	columns, shown := make([][]string, len(f.Points)), fs.tableColumns(p, f)
	var voids []string
	for _, i := range shown {
		columns[i] = f.Cells(i, in.format)
		title := in.when().Fill(f.Points[i].Title)
		void := numeric(f.Points[i]) && !slices.ContainsFunc(f.Rows, func(row []figure.Cell) bool { return told(row[i]) })
		if void {
			voids = append(voids, title)
		}
		out.Heads = append(out.Heads, head{title, numeric(f.Points[i]), long(title), void})
	}
	for r, row := range f.Rows {
		var cells []cell
		for _, i := range shown {
			c, text := row[i], columns[i][r]
			cells = append(cells, cell{text, numeric(f.Points[i]), c.Hidden, f.Points[i].Kind == figure.Month, long(text), len([]rune(text)) > proseLetters, out.Heads[len(cells)].Void})
		}
		out.Rows = append(out.Rows, cells)
	}
	out.Voids = strings.Join(voids, "; ")
	out.layOut()
	out.Cards = p.Chart == "table" && slices.ContainsFunc(out.Rows, func(row []cell) bool {
		return slices.ContainsFunc(row[1:], func(c cell) bool { return c.Prose || c.Long })
	})
	return out
}

// tableColumns are the columns of a panel's table: those that it names and those that
// statistics added, each title once, as where the year is no longer than the period.
func (fs *figures) tableColumns(p figure.Panel, f *figure.Figure) (shown []int) {
	titles := map[string]bool{}
	for i, c := range f.Points {
		title := fs.in.when().Fill(c.Title)
		own := slices.ContainsFunc(fs.defined[p.Figure].Points, func(o figure.Column) bool { return o.Name == c.Name })
		left := len(p.Columns) > 0 && own && !slices.Contains(p.Columns, c.Name)
		if !c.Kind.InTable() || left || title != c.Title && titles[title] {
			continue
		}
		titles[title] = true
		shown = append(shown, i)
	}
	return shown
}

// band is the dose band of a panel and its tolerance.
func (in *input) band(p figure.Panel) (low, high, tolerance float64, ok bool) {
	var values []float64
	for _, name := range p.Band {
		if value, found := in.policy.Number(name); found {
			values = append(values, value)
		}
	}
	if len(values) != 3 {
		return 0, 0, 0, false
	}
	return values[0], values[1], values[2], true
}

// told says that a value of an answer is known, shown or hidden.
func told(c figure.Cell) bool { return c.Hidden || c.Value != nil }

// replaced says that a feed is lacking without which the panel has another sentence.
func (fs *figures) replaced(p figure.Panel) bool {
	return slices.ContainsFunc(p.Without, func(one figure.Without) bool { return one.Says != "" && fs.in.lacking[one.Feed] })
}

// nothing says that the panel is no more than that sentence.
func (fs *figures) nothing(p figure.Panel) bool {
	return slices.ContainsFunc(p.Without, func(one figure.Without) bool { return one.Nothing && fs.in.lacking[one.Feed] })
}

// tooFew says why a figure is not drawn.
func (in *input) tooFew(f *figure.Figure) string {
	if f.HiddenCells > 0 {
		return in.w("too_few_hidden")
	}
	return in.w("too_few")
}

// trendMonths are so many months that a picture of them shows more than the table.
const trendMonths = 3

// fewTold says why a figure is not drawn of which next to nothing is shown: signs for
// what is hidden would be no picture, and a month or two no trend.
func (in *input) fewTold(f *figure.Figure, p figure.Panel) string {
	told := chart.Told(f, p)
	switch {
	case told == 0:
		return in.tooFew(f)
	case told < trendMonths && f.Points[f.Index(p.X)].Kind == figure.Month:
		return in.w("too_few_months", told)
	}
	return ""
}

func numeric(c figure.Column) bool {
	return c.Kind == figure.Count || c.Kind == figure.Units || c.Kind == figure.Share || c.Kind == figure.Number
}

func byMonth(f *figure.Figure) bool { return f.Index("month") >= 0 }

// empty says that no cell of the figure holds a count above zero.
func empty(f *figure.Figure) bool {
	for _, row := range f.Rows {
		for i, c := range row {
			if n, ok := c.Value.(int64); (ok && n != 0) || (f.Points[i].Kind == figure.Label && len(countsOf(f)) == 0) {
				return false
			}
		}
	}
	return true
}

func countsOf(f *figure.Figure) []int {
	var list []int
	for i, c := range f.Points {
		if c.Kind == figure.Count || c.Kind == figure.Units {
			list = append(list, i)
		}
	}
	return list
}

// words writes a value of an answer.
func (in *input) words(f *figure.Figure, name string) string {
	v := f.Values[name]
	if v.Hidden {
		return in.w("number_not_shown")
	}
	for _, c := range f.Answer {
		if c.Name == name {
			return in.format.Cell(c, v)
		}
	}
	return "–"
}

// shown writes a value of an answer by itself, as a table does.
func (in *input) shown(f *figure.Figure, name string) string {
	if f.Values[name].Hidden {
		return in.w("hidden")
	}
	return in.words(f, name)
}

// notDrawn names the rows of a chart of points that have no place in it, since a count
// of theirs is hidden: nothing in the picture would tell that they are missing.
func (in *input) notDrawn(f *figure.Figure, p figure.Panel) string {
	if p.Chart != "funnel" && p.Chart != "effect" {
		return ""
	}
	var names []string
	for _, row := range f.Rows {
		if slices.ContainsFunc(p.Y, func(name string) bool { i := f.Index(name); return i >= 0 && row[i].Hidden }) {
			names = append(names, in.format.Cell(f.Points[0], row[0]))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return in.w("not_drawn", strings.Join(names, "; "))
}
