package pack

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/figure"
)

type casesPage struct {
	Hospital, Period, Today, Version, Confidentiality, Cautions string
	CSS                                                         template.CSS
	Script                                                      template.JS
	ScriptHash                                                  string
	Marks, Findings, Places                                     []choice
	Discuss                                                     []discussed
	DiscussRule                                                 string
	Open                                                        []unit
	// Last names the pack before this one, or is empty.
	Last     string
	Restated []restatement
	Cases    []episode
	// Episodes marks the place of what the page shows of Cases.
	Episodes template.HTML
}

// choice is what a list offers: its value, which the page's script compares, and
// the words for it.
type choice struct{ Value, Words string }

// discussed is a case picked for the meeting.
type discussed struct{ Name, Mark, Because, Place, Safety string }

type episode struct {
	Name, Patient, Mark, MarkWords, Because, Place, Specialty, Begin string
	Row                                                              int64
	Facts                                                            []fact
	Evidence, Findings, Records                                      []string
	FindingNames                                                     string
	// NoEvidence says what it means that there is none.
	NoEvidence string
	Units      []unit
	Line       template.HTML
}

type fact struct{ Name, Value string }

type unit struct {
	Place, Number, Product, Fate, Issued, Begin, Finish, Times, Volume, Given, Source string
	episode                                                                           string
	issued, begin, finish                                                             time.Time
	given                                                                             bool
}

func (in *input) clock(v any) string {
	t, ok := v.(time.Time)
	if !ok {
		return "–"
	}
	return in.format.Clock(t.In(in.zone))
}

func (in *input) text(v any) string {
	switch v := v.(type) {
	case nil:
		return "–"
	case string:
		return in.format.Text(strings.ReplaceAll(v, "_", " "))
	case bool:
		if v {
			return in.w("yes")
		}
		return in.w("no")
	case int64:
		return in.format.Whole(v)
	case float64:
		return in.format.Number(v, 3)
	case time.Time:
		return in.clock(v)
	}
	return fmt.Sprint(v)
}

const caseFacts = "outcome basis coagulopathy shown_by alternative dose_band course population weight_kg delivered_ml dose dose_possible inr_before inr_before_bound inr_before_hours inr_after inr_after_bound pt_ratio_before aptt_ratio_before fibrinogen_before fibrinogen_before_bound hb_before platelets_before change_inr expected_change_inr shortfall_units mark_recorded policy_hash"

// cases reads the period's episodes one by one.
func (in *input) cases(ctx context.Context, e *engine.Engine) (*casesPage, error) {
	c := &casesPage{Hospital: in.hospital, Period: in.period(), Today: in.reportDate(), Version: in.version, Confidentiality: in.confidentiality, Cautions: in.w("cautions"), DiscussRule: in.w("discuss_rule")}
	units, err := in.units(ctx, e, c)
	if err != nil {
		return nil, err
	}
	evidence := map[string][]string{}
	evidenceAt := map[string][]time.Time{}
	rows, err := e.ManyRows(ctx, "cases: evidence", `SELECT evidence.episode_id, evidence.source, evidence.strength, evidence.at, evidence.detail, evidence.source_file, evidence.source_row
FROM evidence INNER JOIN period_episodes ON period_episodes.episode_id = evidence.episode_id ORDER BY ALL`)
	if err != nil {
		return nil, err
	}
	for _, r := range rows {
		id := r[0].(string)
		line := fmt.Sprintf("%s (%s), %s", in.text(r[1]), in.text(r[2]), in.clock(r[3]))
		if r[4] != nil {
			line += ", " + in.detail(r[1], r[4])
		}
		if file, ok := r[5].(string); ok {
			line += " · " + in.w("source_row", figure.Isolated(file), fmt.Sprint(r[6]))
		}
		evidence[id] = append(evidence[id], line)
		if at, ok := r[3].(time.Time); ok {
			evidenceAt[id] = append(evidenceAt[id], at)
		}
	}
	findings, names := map[string][]string{}, map[string][]string{}
	safety, harm, lines := map[string][]string{}, map[string][]string{}, map[[3]any]string{}
	seen, found := map[string]bool{}, []string{}
	rows, err = e.ManyRows(ctx, "cases: findings", `SELECT findings.episode_id, findings.finding, findings.severity, findings.numbers, findings.key
FROM findings INNER JOIN period_episodes ON period_episodes.episode_id = findings.episode_id ORDER BY ALL`)
	if err != nil {
		return nil, err
	}
	for _, r := range rows {
		id, name := r[0].(string), strings.ReplaceAll(r[1].(string), "_", " ")
		// Most findings say what another says: that no test was taken, or the same times.
		saying := [3]any{r[1], r[2], r[3]}
		line, known := lines[saying]
		if !known {
			line = in.w("finding_line", in.text(name), in.text(r[2]), in.numbers(r[3]))
			lines[saying] = line
		}
		if !slices.Contains(findings[id], line) {
			findings[id] = append(findings[id], line) // Several units may have the same.
		}
		if len(names[id]) == 0 || names[id][len(names[id])-1] != name {
			names[id] = append(names[id], name)
		}
		if !seen[name] {
			seen[name] = true
			found = append(found, name)
		}
		if r[2] == "safety" && !slices.Contains(safety[id], in.text(name)) {
			safety[id], harm[id] = append(safety[id], in.text(name)), append(harm[id], r[1].(string))
		}
	}
	records, err := in.records(ctx, e)
	if err != nil {
		return nil, err
	}
	facts := strings.Fields(caseFacts)
	basisAt := 13 + slices.Index(facts, "basis")
	quoted := make([]string, len(facts))
	for i, f := range facts {
		quoted[i] = "period_episodes." + f
		if k := contract.Episodes.Column(f); k != nil && k.Kind == contract.Decimal {
			quoted[i] = "CAST(" + quoted[i] + " AS DOUBLE)"
		}
	}
	rows, err = e.ManyRows(ctx, "cases: episodes", `SELECT period_episodes.episode_id, period_episodes.patient_id, period_episodes.mark, period_episodes.mark_row, period_episodes.because,
    period_episodes.location, period_episodes.specialty, period_episodes.t0, period_episodes.t1, CAST(period_episodes.delivered_ml AS DOUBLE),
    period_episodes.inr_before_at, period_episodes.inr_after_at, period_episodes.fibrinogen_before_at, `+strings.Join(quoted, ", ")+`
FROM period_episodes ORDER BY period_episodes.t0, period_episodes.episode_id`)
	if err != nil {
		return nil, err
	}
	var candidates []candidate
	saidOf := map[string]string{}
	places, marks := map[string]bool{}, map[string]bool{}
	for _, r := range rows {
		id, patient := r[0].(string), r[1].(string)
		one := episode{Name: audit.Pseudonym(in.key, audit.EpisodeKind, id), Patient: audit.Pseudonym(in.key, audit.PatientKind, patient), Mark: r[2].(string), MarkWords: in.text(r[2]), Because: in.text(r[4]), Place: in.place(r[5]), Specialty: in.place(r[6]),
			Begin: in.clock(r[7]), Evidence: evidence[id], Findings: findings[id], Records: records[id], FindingNames: asList(names[id]), Units: units[id]}
		one.Row, _ = r[3].(int64)
		if len(one.Evidence) == 0 {
			one.NoEvidence = in.noEvidence(r[basisAt])
		}
		for i, f := range facts {
			if v := r[13+i]; v != nil {
				one.Facts = append(one.Facts, fact{in.format.Fact(f), in.codes(f, v)})
			}
		}
		tests := map[string]any{in.w("inr_before"): r[10], in.w("inr_after"): r[11], in.w("fibrinogen"): r[12]}
		one.Line = in.timeLine(one.Name, units[id], tests, evidenceAt[id])
		c.Cases = append(c.Cases, one)
		places[one.Place], marks[one.Mark] = true, true
		if kind := kindOf(harm[id], one.Mark); kind != "" {
			ml, _ := r[9].(float64)
			candidates = append(candidates, candidate{kind, one.Name, ml})
			saidOf[one.Name] = strings.Join(safety[id], ", ")
		}
	}
	for _, picked := range discuss(candidates) {
		one := c.Cases[slices.IndexFunc(c.Cases, func(e episode) bool { return e.Name == picked.name })]
		c.Discuss = append(c.Discuss, discussed{one.Name, one.MarkWords, one.Because, one.Place, saidOf[one.Name]})
	}
	for _, m := range contract.Marks {
		if marks[m] {
			c.Marks = append(c.Marks, choice{m, in.format.Text(m)})
		}
	}
	for _, place := range sortedKeys(places) {
		c.Places = append(c.Places, choice{place, place})
	}
	slices.Sort(found)
	for _, name := range found {
		c.Findings = append(c.Findings, choice{name, in.format.Text(name)})
	}
	if in.last != nil {
		c.Last = in.periodOf(in.last.run.From, in.last.run.To)
	}
	c.Restated, err = in.restated(ctx, e)
	return c, err
}

// detail writes what evidence is in detail: of what is inferred a number, how many red
// cells or how large a fall.
func (in *input) detail(source, v any) string {
	if text, ok := v.(string); ok && (source == "red_cells" || source == "hb_fall") {
		if x, err := strconv.ParseFloat(text, 64); err == nil {
			return in.format.Number(x, 3)
		}
	}
	return figure.Isolated(in.text(v))
}

// noEvidence says what it means of an episode of a basis that it has no evidence of
// bleeding: that it was looked for, or that nobody would have written it down.
func (in *input) noEvidence(basis any) string {
	switch {
	case basis == "none_found" || basis == "procedure_low":
		return in.w("no_evidence")
	case basis == "not_known" || in.lacking[figure.Bleeding]:
		return in.w("evidence_not_known")
	}
	return in.w("no_evidence_recorded")
}

// asList writes names as a JSON list, an empty one as [], for an attribute that
// the page's script reads: a name may hold any sign.
func asList(names []string) string {
	if names == nil {
		names = []string{}
	}
	text, _ := json.Marshal(names) // Strings alone cannot fail.
	return string(text)
}

func (in *input) place(v any) string {
	if s, ok := v.(string); ok && s != "" {
		return figure.Isolated(s)
	}
	return in.w("not_recorded")
}

// records lists, by episode, the source of each test and weight that it was
// judged on. Units and evidence tell their sources themselves.
func (in *input) records(ctx context.Context, e *engine.Engine) (map[string][]string, error) {
	var wanted []string
	for _, test := range contract.BeforeAfterTests {
		for _, side := range []string{"before", "after"} {
			at := test + "_" + side
			wanted = append(wanted, fmt.Sprintf("SELECT period_episodes.episode_id, period_episodes.patient_id, %s AS test, %s AS side, period_episodes.%s_at AS at, coalesce(period_episodes.%s_point_of_care, FALSE) AS near FROM period_episodes WHERE period_episodes.%s_at IS NOT NULL",
				engine.Quote(test), engine.Quote(side), at, at, at))
		}
	}
	if err := e.View(ctx, "results_judged", contract.Labs.Columns, labFiles(in.files[contract.Labs.Name], contract.BeforeAfterTests), ""); err != nil {
		return nil, err
	}
	// Said in so many words, the ends of the times keep the engine from reading files
	// of results of other years.
	if err := e.Exec(ctx, "cases: wanted", "CREATE OR REPLACE TABLE wanted AS "+strings.Join(wanted, " UNION ALL ")); err != nil {
		return nil, err
	}
	_, ends, err := e.Rows(ctx, "cases: ends", "SELECT min(wanted.at), max(wanted.at) FROM wanted")
	if err != nil {
		return nil, err
	}
	among := "false"
	if from, ok := ends[0][0].(time.Time); ok {
		to := ends[0][1].(time.Time)
		const form = "2006-01-02 15:04:05.999999"
		among = fmt.Sprintf("labs.collected_at BETWEEN TIMESTAMP '%s' AND TIMESTAMP '%s'", from.Format(form), to.Format(form))
	}
	rows, err := e.ManyRows(ctx, "cases: records", `
SELECT wanted.episode_id, wanted.test, wanted.side, labs.collected_at, labs.value, labs.bound, labs.source_file, labs.source_row
FROM wanted
INNER JOIN results_judged AS labs ON labs.patient_id = wanted.patient_id AND labs.collected_at = wanted.at AND labs.test = wanted.test
    AND coalesce(labs.point_of_care, FALSE) = wanted.near
WHERE `+among+`
UNION ALL
SELECT period_episodes.episode_id, 'weight', '', measures.measured_at, CAST(measures.value AS DOUBLE), measures.method, measures.source_file, measures.source_row
FROM period_episodes
INNER JOIN measures ON measures.patient_id = period_episodes.patient_id AND measures.kind = 'weight' AND measures.measured_at = period_episodes.weight_at
ORDER BY ALL`)
	if err != nil {
		return nil, err
	}
	all := map[string][]string{}
	for _, r := range rows {
		id := r[0].(string)
		what := in.format.Fact(strings.Trim(fmt.Sprintf("%v_%v", r[1], r[2]), "_"))
		value := in.text(r[4])
		if r[5] != nil {
			value = in.text(r[5]) + " " + value
		}
		all[id] = append(all[id], fmt.Sprintf("%s: %s, %s · %s", what, value, in.clock(r[3]), in.w("source_row", figure.Isolated(fmt.Sprint(r[6])), fmt.Sprint(r[7]))))
	}
	return all, nil
}

// units reads the units of the period's episodes, and lists those whose fate is
// open, by place.
func (in *input) units(ctx context.Context, e *engine.Engine, c *casesPage) (map[string][]unit, error) {
	rows, err := e.ManyRows(ctx, "cases: units", `SELECT units.episode_id, period_episodes.location, units.product_code, units.fate, units.issued_at, units.begin, units.finish, units.times_basis,
    CAST(units.volume AS DOUBLE), CAST(units.given_ml AS DOUBLE), units.source_file, units.source_row, units.given, units.unit_no
FROM units INNER JOIN period_episodes ON period_episodes.episode_id = units.episode_id
ORDER BY period_episodes.location NULLS LAST, units.issued_at, units.bag`)
	if err != nil {
		return nil, err
	}
	all := map[string][]unit{}
	for _, r := range rows {
		id := r[0].(string)
		u := unit{Place: in.place(r[1]), Number: in.place(r[13]), Product: in.place(r[2]), Fate: in.text(r[3]), Issued: in.clock(r[4]), Begin: in.clock(r[5]), Finish: in.clock(r[6]), Times: in.text(r[7]),
			Volume: in.text(r[8]), Given: in.text(r[9]), Source: in.w("source_row", figure.Isolated(fmt.Sprint(r[10])), fmt.Sprint(r[11])), episode: id}
		u.issued, _ = r[4].(time.Time)
		u.begin, _ = r[5].(time.Time)
		u.finish, _ = r[6].(time.Time)
		u.given, _ = r[12].(bool)
		all[id] = append(all[id], u)
		if r[3] == "unknown" || r[3] == "presumed" {
			c.Open = append(c.Open, u)
		}
	}
	return all, nil
}

// codes writes a fact: what shows a coagulopathy, and what a product acts on, is a list
// of tests.
func (in *input) codes(name string, v any) string {
	list, ok := v.(string)
	if name != "shown_by" && name != "tests" || !ok {
		return in.text(v)
	}
	var all []string
	for _, one := range strings.Fields(list) {
		all = append(all, in.format.Fact(one))
	}
	return strings.Join(all, ", ")
}

// numbers writes a finding's JSON as words, its times on the hospital's clock.
func (in *input) numbers(v any) string {
	text, _ := v.(string)
	read := json.NewDecoder(strings.NewReader(text))
	read.UseNumber()
	var all []string
	for name := ""; ; {
		token, err := read.Token()
		if err != nil {
			return strings.Join(all, "; ")
		}
		if _, ok := token.(json.Delim); ok {
			continue
		}
		if name == "" {
			name, _ = token.(string)
			continue
		}
		value := in.w("not_known")
		switch t := token.(type) {
		case json.Number:
			x, _ := t.Float64()
			value = in.format.Number(x, 3)
		case string:
			value = figure.Isolated(in.codes(name, t))
			if at, err := time.Parse("2006-01-02 15:04:05.999999", t); err == nil {
				value = in.clock(at)
			}
		case bool:
			value = in.text(t)
		}
		all = append(all, in.w("fact_is", in.format.Fact(name), value))
		name = ""
	}
}

// timeLine draws an episode as a small SVG of our own: units as bars, tests as
// circles, evidence as diamonds.
func (in *input) timeLine(name string, units []unit, tests map[string]any, evidence []time.Time) template.HTML {
	var first, last time.Time
	see := func(t time.Time) {
		if t.IsZero() {
			return
		}
		if first.IsZero() || t.Before(first) {
			first = t
		}
		if t.After(last) {
			last = t
		}
	}
	for _, u := range units {
		see(u.issued)
		see(u.begin)
		if u.given {
			see(u.finish)
		}
	}
	if first.IsZero() {
		return ""
	}
	for _, t := range tests {
		at, _ := t.(time.Time)
		see(at)
	}
	for _, at := range evidence {
		see(at)
	}
	span := last.Sub(first).Seconds()
	if span <= 0 {
		span = 1
	}
	across := func(t time.Time) float64 { return 20 + 660*t.Sub(first).Seconds()/span }
	tenth := func(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }
	x := func(t time.Time) string { return tenth(across(t)) }
	height := 46 + 9*len(units)
	base, foot, mark := strconv.Itoa(height-18), strconv.Itoa(height-5), strconv.Itoa(height-23)
	var b sheet
	b.put(`<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 700 `, strconv.Itoa(height), `" class="line"><title>`)
	b.text(in.w("time_line_of", name))
	b.put(`</title><line x1="20" x2="680" y1="`, base, `" y2="`, base, `" stroke="#52606d"/>`)
	for _, at := range []time.Time{first, last} {
		anchor := "start"
		if at == last {
			anchor = "end"
		}
		b.put(`<text x="`, x(at), `" y="`, foot, `" font-size="10" text-anchor="`, anchor, `" fill="#1d2733">`, in.clock(at), `</text>`)
		if first == last {
			break
		}
	}
	for i, u := range units {
		y := strconv.Itoa(20 + 9*i)
		if u.given {
			b.put(`<rect x="`, x(u.begin), `" y="`, y, `" width="`, tenth(max(2, across(u.finish)-across(u.begin))), `" height="6" fill="#0072B2"/>`)
		} else if !u.issued.IsZero() {
			b.put(`<rect x="`, x(u.issued), `" y="`, y, `" width="6" height="6" fill="none" stroke="#0072B2"/>`)
		}
	}
	// Samples taken together share one label: two would lie over each other.
	labels := map[time.Time]string{}
	var taken []time.Time
	for _, label := range []string{in.w("inr_before"), in.w("inr_after"), in.w("fibrinogen")} {
		if at, ok := tests[label].(time.Time); ok {
			if labels[at] == "" {
				taken = append(taken, at)
				labels[at] = label
			} else {
				labels[at] += ", " + label
			}
		}
	}
	for _, at := range taken {
		b.put(`<circle cx="`, x(at), `" cy="`, base, `" r="4" fill="#E69F00" stroke="#1d2733"/><text x="`, tenth(min(max(across(at), 60), 640)), `" y="12" font-size="9" text-anchor="middle" fill="#1d2733">`)
		b.text(labels[at])
		b.put(`</text>`)
	}
	for _, at := range evidence {
		b.put(`<path d="M`, x(at), ` `, mark, ` l5 5 l-5 5 l-5 -5z" fill="#D55E00"/>`)
	}
	b.put(`</svg>`)
	// Built of numbers, times and our own words alone.
	return template.HTML(b)
}
