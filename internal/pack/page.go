package pack

import (
	"context"
	"fmt"
	"html/template"
	"strings"
	"time"

	"thawline/internal/chart"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
	"thawline/internal/policy"
)

// cautions stands in every pack.
const cautions = "This is an audit: it looks back at practice over many episodes and advises on no patient. A mark is a prompt for review by the committee, not a judgement of a clinician. Values follow local policy and the licensed professionals who own it. Urgent safety findings go through the hospital's own haemovigilance route."

// page is what the committee's template shows.
type page struct {
	Hospital, Period, Today, Version, Confidentiality, Cautions string
	Provisional                                                 []string
	CSS                                                         template.CSS
	Sections                                                    []section
}

type section struct {
	ID, Title, Intro, NotRun string
	Answer                   *answer
	Trust                    *trust
	Judged                   *judged
	Decisions                *decisions
	Panels                   []panel
}

type panel struct {
	ID, Asks, Says, Beside string
	// NOf, Interval and NotKnown are the line under the sentence.
	NOf, Interval, NotKnown, LeftOut string
	Notes                            []string
	SVG                              template.HTML
	TooFew                           string
	Heads                            []head
	Rows                             [][]cell
}

type head struct {
	Title   string
	Numeric bool
}

type cell struct {
	Text            string
	Numeric, Hidden bool
}

type answer struct {
	Sentences []string
	Headlines []headline
	Changes   []string
}

// decisions is the section of what was decided, with lines for today.
type decisions struct{ Made []decided }

// headline is one of the figures that head the page.
type headline struct {
	Figure string `json:"figure"`
	Label  string `json:"label"`
	Note   string `json:"note"`
}

type trust struct {
	Rows   []Source
	Absent []string
}

type judged struct {
	Heads   []string
	Table   [][]string
	Values  []policy.Value
	Sources []Source
	Hashes  []string
}

// figures runs, discloses and draws every panel of a dashboard.
type figures struct {
	in      *input
	e       *engine.Engine
	drawn   *chart.Renderer
	defined map[string]*figure.Definition
	// done keeps the figures by name, disclosed, for the answer.
	done    map[string]*figure.Figure
	signals []string
	ids     map[string]bool
	// drawings are at work beside the queries, by the panel's identifier.
	drawings map[string]*drawing
	// atOnce holds a place for each chart that is being drawn.
	atOnce chan struct{}
}

// panel says and draws a figure that is disclosed already.
func (fs *figures) panel(p figure.Panel, f *figure.Figure) panel {
	in := fs.in
	out := panel{ID: "f-" + p.Figure, Asks: p.Asks, Says: f.Say(p, in.format, figure.When{Period: in.period(), Span: in.span()}), Beside: p.Beside, LeftOut: f.NotKnown}
	for n := 2; fs.ids[out.ID]; n++ {
		out.ID = fmt.Sprintf("f-%s-%d", p.Figure, n)
	}
	fs.ids[out.ID] = true
	if out.Asks == "" {
		out.Asks = f.Asks
	}
	of, hasOf := f.Values["of"]
	if _, hasN := f.Values["n"]; hasOf && hasN {
		out.NOf = in.words(f, "n") + " of " + in.words(f, "of")
	}
	out.Interval = f.Interval(in.format)
	if _, ok := f.Values["not_known"]; ok {
		out.NotKnown = in.words(f, "not_known")
	}
	look := chart.Look{ID: out.ID, Asks: out.Asks, Says: out.Says, Format: in.format}
	for _, i := range in.interventions {
		look.Interventions = append(look.Interventions, chart.Intervention{Month: i.Month, Name: i.Name})
	}
	if len(p.Band) == 2 {
		for _, name := range p.Band {
			value, ok := in.policy.Number(name)
			if ok {
				look.Band = append(look.Band, value)
			}
		}
		if len(look.Band) == 2 {
			out.Notes = append(out.Notes, fmt.Sprintf("Shaded: the dose band of adults, %s to %s mL/kg.", in.format.Number(look.Band[0], 2), in.format.Number(look.Band[1], 2)))
		}
	}
	if p.Chart == "control" {
		baseline, _ := in.policy.Number("baseline_months")
		run, _ := in.policy.Number("run_length")
		look.Limits = f.Control(p.Y[0], p.Y[1], int(baseline), int(run))
		if look.Limits == nil {
			out.Notes = append(out.Notes, "Fewer than eight months with data: no limits are drawn, and no change is claimed.")
		} else {
			f.AddLimits(look.Limits)
			note := fmt.Sprintf("Limits are three standard errors about the mean of the first %d months with data, each by its own n.", int(baseline))
			if look.Limits.Widened > 0 {
				note += fmt.Sprintf(" Months vary more than chance alone would make them: the limits are widened by Laney's factor %s.", in.format.Number(look.Limits.Widened, 2))
			}
			out.Notes = append(out.Notes, note)
			month := f.Index(p.X)
			for r, words := range look.Limits.Words {
				if m, _ := f.Rows[r][month].Value.(string); words != "" && m >= in.from {
					fs.signals = append(fs.signals, fmt.Sprintf("%s %s: %s.", out.Asks, in.format.Month(m), words))
				}
			}
		}
	}
	if p.Chart == "funnel" {
		if look.Funnel = f.AddFunnel(p.X, p.Y[0], p.Y[1]); look.Funnel == nil {
			out.TooFew = "Too little data to draw, or the hospital's own share is hidden."
		} else {
			out.Notes = append(out.Notes, look.Funnel.Words(in.format)...)
		}
	}
	fs.done[p.Figure] = f
	if whole, ok := of.Value.(int64); p.Chart == "table" && f.HiddenCells == 0 {
		// A table needs no picture: its sentence says where it is empty.
	} else if (hasOf && ok && whole == 0 && !byMonth(f)) || empty(f) {
		out.TooFew = "Too little data to draw."
		if f.HiddenCells > 0 {
			out.TooFew = "Too little data to draw: the counts are small and hidden."
		}
	} else if out.TooFew == "" {
		fs.draw(out.ID, f, p, look)
	}
	if f.HiddenCells > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("“hidden”: counts under %d, and what would give them away, are not shown.", in.format.Small))
	}
	for _, c := range f.Points {
		out.Heads = append(out.Heads, head{c.Title, numeric(c)})
	}
	for _, row := range f.Rows {
		var cells []cell
		for i, c := range row {
			cells = append(cells, cell{in.format.Cell(f.Points[i], c), numeric(f.Points[i]), c.Hidden})
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
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
		return "a number not shown"
	}
	for _, c := range f.Answer {
		if c.Name == name {
			return in.format.Cell(c, v)
		}
	}
	return "–"
}

// period is the period in words.
func (in *input) period() string {
	return in.periodOf(in.from, in.to)
}

func (in *input) periodOf(from, to string) string {
	if from == to {
		return in.format.Month(from)
	}
	return in.format.Month(from) + " to " + in.format.Month(to)
}

// confidence is the line on confidentiality.
func (in *input) confidence() string {
	if in.confidentiality == "" {
		return "Confidential: for the transfusion committee."
	}
	return in.confidentiality
}

// span is what distributions speak of: the year to the period's end, or the
// period where that is longer.
func (in *input) span() string {
	if in.yearFrom() == in.from {
		return in.period()
	}
	return "the twelve months to " + in.format.Month(in.to)
}

// yearFrom is the first month of the span.
func (in *input) yearFrom() string {
	from, err := addMonths(in.to, -11)
	if err != nil {
		return in.from
	}
	return min(from, in.from)
}

// run asks for the figures of every panel, by section, and discloses them
// together before anything is said or drawn.
func (in *input) run(ctx context.Context, e *engine.Engine, d *figure.Dashboard, defined map[string]*figure.Definition) ([][]*figure.Figure, error) {
	bySection := make([][]*figure.Figure, len(d.Sections))
	var all []*figure.Figure
	for i, s := range d.Sections {
		for _, p := range s.Panels {
			f, err := defined[p.Figure].Run(ctx, e)
			if err != nil {
				return nil, err
			}
			bySection[i] = append(bySection[i], f)
			all = append(all, f)
		}
	}
	atoms, err := figure.LoadAtoms(ctx, e, all, figure.Spans{From: in.from, To: in.to, YearFrom: in.yearFrom(), HistoryFrom: in.historyFrom})
	if err != nil {
		return nil, err
	}
	figure.Together(all, atoms, in.format.Small)
	return bySection, nil
}

// committee builds the page's content: all panels first, since the first
// section is made from the figures of the others.
func (in *input) committee(ctx context.Context, e *engine.Engine, d *figure.Dashboard, defined map[string]*figure.Definition, drawn *chart.Renderer, css string) (*page, error) {
	fs := &figures{in: in, e: e, drawn: drawn, defined: defined, done: map[string]*figure.Figure{}, ids: map[string]bool{}, drawings: map[string]*drawing{}, atOnce: make(chan struct{}, drawsAtOnce)}
	p := &page{Hospital: in.hospital, Period: in.period(), Today: in.today, Version: in.version, Confidentiality: in.confidence(),
		Cautions: cautions, Provisional: in.provisional, CSS: template.CSS(css)}
	run, err := in.run(ctx, e, d, defined)
	if err != nil {
		return nil, err
	}
	for i, s := range d.Sections {
		one := section{ID: fmt.Sprintf("s%d", i+1), Title: s.Section, Intro: s.Intro, NotRun: s.NotRun}
		for j, wanted := range s.Panels {
			one.Panels = append(one.Panels, fs.panel(wanted, run[i][j]))
		}
		p.Sections = append(p.Sections, one)
	}
	if err := fs.drawnInto(p); err != nil {
		return nil, err
	}
	for i, s := range d.Sections {
		one := &p.Sections[i]
		switch s.Page {
		case "answer":
			one.Answer = fs.answer()
		case "trust":
			one.Trust = in.trust()
		case "decisions":
			one.Decisions = &decisions{fs.decisions(d)}
		case "judged":
			if one.Judged, err = in.judged(); err != nil {
				return nil, err
			}
		}
	}
	return p, nil
}

// answer says the page's first words, from figures that are disclosed already.
func (fs *figures) answer() *answer {
	in, a := fs.in, &answer{}
	get := func(figureName, value string) string {
		if f := fs.done[figureName]; f != nil {
			return in.words(f, value)
		}
		return "–"
	}
	share := func(name string) (text, interval string) {
		f := fs.done[name]
		if f == nil {
			return "–", ""
		}
		n, okN := f.Whole("n")
		of, okOf := f.Whole("of")
		if f.Values["n"].Hidden || f.Values["of"].Hidden {
			return "hidden", ""
		}
		if !okN || !okOf || of == 0 {
			return "–", ""
		}
		return in.format.Percent(float64(n) / float64(of)), f.Interval(in.format)
	}
	episodes, given := get("marks_by_month", "of"), get("use_by_month", "n")
	if episodes == "0" && given == "0" {
		a.Sentences = append(a.Sentences, fmt.Sprintf("No plasma was issued in %s as far as the records tell: either none was used, or the exports of these months have not been read. The last section lists the files read.", in.period()))
	} else {
		a.Sentences = append(a.Sentences, fmt.Sprintf("In %s, %s episodes of plasma began and %s bags were given.", in.period(), episodes, given))
	}
	good, interval := share("appropriate_by_month")
	if good == "–" || good == "hidden" {
		a.Sentences = append(a.Sentences, "A share of appropriate episodes cannot be shown: too few could be judged.")
	} else {
		text := fmt.Sprintf("%s of the %s judged episodes were appropriate (95 %% interval %s)", good, get("appropriate_by_month", "of"), interval)
		changed := ""
		for _, s := range fs.signals {
			if f := fs.done["appropriate_by_month"]; f != nil && strings.HasPrefix(s, f.Asks) {
				changed = strings.TrimSuffix(strings.TrimPrefix(s, f.Asks+" "), ".")
			}
		}
		switch f := fs.done["appropriate_by_month"]; {
		case changed != "":
			text += "; the control chart signals a change (" + changed + ")."
		case f.Index("centre") < 0:
			text += "; whether that is a change cannot be said yet, with fewer than eight months of data."
		default:
			text += "; the control chart sees no change."
		}
		a.Sentences = append(a.Sentences, text)
	}
	lost, lostInterval := share("waste_by_month")
	waste := fmt.Sprintf("%s bags were thrown away and %s units given in episodes without a recorded indication", get("avoidable", "discarded"), get("avoidable", "given"))
	if f := fs.done["avoidable"]; f != nil && f.Values["cost"].Value != nil {
		waste += ", at a cost of " + strings.TrimSpace(in.currency+" "+in.words(f, "cost"))
	} else {
		waste += "; their cost is not shown, since the site states no unit_cost"
	}
	a.Sentences = append(a.Sentences, waste+".")
	undetermined, undeterminedInterval := share("completeness")
	a.Headlines = []headline{
		{episodes, "episodes", get("marks_by_month", "n") + " judged"},
		{given, "bags given", get("use_by_month", "of") + " thawed, issued or lost"},
		{good, "appropriate, of those judged", note(interval)},
		{undetermined, "undetermined", note(undeterminedInterval)},
		{get("dose_distribution", "median"), "mL/kg, median dose", "in " + in.span()},
		{lost, "thrown away", note(lostInterval)},
	}
	a.Changes = fs.signals
	return a
}

func note(interval string) string {
	if interval == "" {
		return "small counts are not shown, or there is none"
	}
	return "95 % interval " + interval
}

func (in *input) trust() *trust {
	t := &trust{}
	byTable := map[string]*Source{}
	for _, s := range in.sources {
		sum := byTable[s.Table]
		if sum == nil {
			sum = &Source{Table: s.Table}
			byTable[s.Table] = sum
		}
		sum.Read += s.Read
		sum.Accepted += s.Accepted
		sum.Rejected += s.Rejected
		sum.SetAside += s.SetAside
		sum.Unmapped += s.Unmapped
	}
	without := map[string]string{
		"bedside":  "bedside records: starts and ends of units are assumed where the blood bank does not tell them",
		"labs":     "labs: no clotting test before or after is known, so most episodes stay undetermined",
		"measures": "measures: no weight is known, so no dose can be computed",
		"events":   "events: bleeding and procedures that somebody recorded are not known, so episodes that turn on them stay undetermined",
		"patients": "patients: age and blood group are not known; everybody is judged as an adult",
	}
	for _, table := range contract.Feeds() {
		if s := byTable[table.Name]; s != nil {
			t.Rows = append(t.Rows, *s)
		} else if why := without[table.Name]; why != "" {
			t.Absent = append(t.Absent, why)
		}
	}
	return t
}

func (in *input) judged() (*judged, error) {
	table, err := in.policy.Table()
	if err != nil {
		return nil, err
	}
	j := &judged{Values: in.policy.Values(), Sources: in.sources}
	for _, c := range table.Columns() {
		j.Heads = append(j.Heads, strings.ReplaceAll(c.Name, "_", " "))
	}
	for _, row := range table.Rows() {
		var cells []string
		for _, c := range row {
			cells = append(cells, strings.ReplaceAll(fmt.Sprint(c), "|", " | "))
		}
		j.Table = append(j.Table, cells)
	}
	for _, p := range in.policy.Periods() {
		from := "the beginning"
		if !p.From.IsZero() {
			from = p.From.Format(time.DateOnly)
		}
		j.Hashes = append(j.Hashes, fmt.Sprintf("%s from %s", p.Hash, from))
	}
	return j, nil
}
