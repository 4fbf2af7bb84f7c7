package audit

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// The kinds of thing that have pseudonyms: one identifier gives another
// pseudonym as a patient than as an episode.
const (
	PatientKind = "patient"
	EpisodeKind = "episode"
)

// Pseudonym is what a pack shows in the place of an identifier: the first ten
// hex digits of a keyed hash (HMAC-SHA-256) over its kind and itself. The key
// never leaves the store.
func Pseudonym(key []byte, kind, identifier string) string {
	h := hmac.New(sha256.New, key)
	h.Write([]byte(kind + "|" + identifier))
	return hex.EncodeToString(h.Sum(nil))[:10]
}

// Section is one step of the way to a mark: a table, and sentences under it.
type Section struct {
	Title   string     `json:"title"`
	Columns []string   `json:"columns,omitempty"`
	Rows    [][]string `json:"rows,omitempty"`
	Notes   []string   `json:"notes,omitempty"`
}

// Explanation tells how one episode came by its mark.
type Explanation struct {
	Episode  string    `json:"episode"`
	Mark     string    `json:"mark"`
	Because  string    `json:"because"`
	Sections []Section `json:"sections"`
}

// FindEpisode returns the episode_id for what a person typed: the id itself or
// the pseudonym that a pack shows.
func FindEpisode(ctx context.Context, e *engine.Engine, key []byte, typed string) (string, error) {
	_, rows, err := e.Rows(ctx, "find the episode", "SELECT episode_id FROM episodes ORDER BY episode_id")
	if err != nil {
		return "", err
	}
	typed = strings.ToLower(strings.TrimSpace(typed))
	for _, row := range rows {
		id := row[0].(string)
		if id == typed || Pseudonym(key, EpisodeKind, id) == typed {
			return id, nil
		}
	}
	return "", fmt.Errorf("episode %q is not among the %d of the store: give the number shown in cases.html, or an episode_id; "+
		"if records arrived since, run thawline mark first", typed, len(rows))
}

// explainer gathers the sections of one explanation.
type explainer struct {
	ctx     context.Context
	e       *engine.Engine
	episode map[string]any
	policy  map[string]any
	out     *Explanation
}

// Explain retells the facts of an episode from current and audit, with the
// source file and row of each record, so that a person can judge it again by
// hand. The engine must hold the views of OpenReader.
func Explain(ctx context.Context, e *engine.Engine, p *policy.Policy, episodeID string) (*Explanation, error) {
	if err := e.Load(ctx, "policy", p.Columns(), p.Rows()); err != nil {
		return nil, err
	}
	x := &explainer{ctx: ctx, e: e, out: &Explanation{Episode: episodeID}}
	var err error
	if x.episode, err = x.one("SELECT * FROM episodes WHERE episode_id = " + engine.Quote(episodeID)); err != nil {
		return nil, err
	}
	if x.episode == nil {
		return nil, fmt.Errorf("episode %s is not in the store", episodeID)
	}
	if x.policy, err = x.one("SELECT * FROM policy WHERE policy_hash = " + engine.Quote(text(x.episode["policy_hash"])) + " ORDER BY policy_no LIMIT 1"); err != nil {
		return nil, err
	}
	if x.policy == nil {
		return nil, fmt.Errorf("the episode was marked under policy %s, which is not today's: run thawline mark, then explain again", text(x.episode["policy_hash"]))
	}
	x.out.Mark, x.out.Because = text(x.episode["mark"]), text(x.episode["because"])
	for _, step := range []func() error{x.units, x.dose, x.tests, x.evidence, x.judgement, x.findings} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return x.out, nil
}

// one runs a query and returns its first row by column name, or nil.
func (x *explainer) one(query string) (map[string]any, error) {
	names, rows, err := x.e.Rows(x.ctx, "explain", query)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	row := map[string]any{}
	for i, name := range names {
		row[name] = rows[0][i]
	}
	return row, nil
}

// table runs a query into a section.
func (x *explainer) table(title, query string, notes ...string) error {
	names, rows, err := x.e.Rows(x.ctx, "explain", query)
	if err != nil {
		return err
	}
	s := Section{Title: title, Columns: names, Notes: notes}
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = text(cell)
		}
		s.Rows = append(s.Rows, cells)
	}
	if len(rows) == 0 {
		s.Columns = nil
		s.Notes = append([]string{"none"}, s.Notes...)
	}
	x.out.Sections = append(x.out.Sections, s)
	return nil
}

// text writes a cell as a person reads it: UTC times, not known for null.
func text(cell any) string {
	switch v := cell.(type) {
	case nil:
		return "not known"
	case time.Time:
		return v.UTC().Format("2006-01-02T15:04:05Z")
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	}
	return fmt.Sprint(cell)
}

func (x *explainer) fact(name string) string  { return text(x.episode[name]) }
func (x *explainer) value(name string) string { return text(x.policy[name]) }

// id and patient are SQL literals of the episode's keys.
func (x *explainer) id() string      { return engine.Quote(x.fact("episode_id")) }
func (x *explainer) patient() string { return engine.Quote(x.fact("patient_id")) }
func (x *explainer) at(name string) string {
	return "TIMESTAMP '" + x.episode[name].(time.Time).UTC().Format("2006-01-02 15:04:05.999999") + "'"
}

func (x *explainer) units() error {
	return x.table("Units", `
SELECT units.unit_no, units.product_code AS product, issues.requested_at, units.issued_at, units.fate, units.volume AS volume_ml, units.volume_basis,
    units.given_ml, units."begin", units.finish, units.times_basis, units.source_file || ':' || units.source_row AS source,
    coalesce(issues.bedside_file || ':' || issues.bedside_row, '') AS bedside
FROM units
LEFT JOIN issues ON issues.bag = units.bag AND issues.issued_at = units.issued_at
WHERE units.episode_id = `+x.id()+`
ORDER BY units.issued_at, units.unit_no, units.product_code, units.bag_no`,
		fmt.Sprintf("t0 %s, the first begin of a given unit; t1 %s, the last finish; first issue %s", x.fact("t0"), x.fact("t1"), x.fact("first_issued_at")),
		fmt.Sprintf("a unit belongs to the episode if issued within episode_gap_h = %s h of the latest finish (given) or issue (not given) before it", x.value("episode_gap_h")),
		fmt.Sprintf("outcome %s: %s issued = %s transfused + %s presumed + %s returned + %s discarded + %s transferred + %s unknown",
			x.fact("outcome"), x.fact("units_issued"), x.fact("units_transfused"), x.fact("units_presumed"), x.fact("units_returned"),
			x.fact("units_discarded"), x.fact("units_transferred"), x.fact("units_unknown")))
}

func (x *explainer) dose() error {
	population := x.fact("population")
	before, after := x.value("weight_before_d_"+population), x.value("weight_after_d_"+population)
	err := x.table("Weights considered", `
SELECT measures.measured_at, measures."value" AS kg, measures."method", coalesce(suspect_weights.reason, '') AS not_believed,
    CASE WHEN measures.measured_at = `+weightAt(x)+` AND suspect_weights.reason IS NULL THEN 'this time' ELSE '' END AS used,
    measures.source_file || ':' || measures.source_row AS source
FROM measures
LEFT JOIN suspect_weights ON suspect_weights.patient_id = measures.patient_id AND suspect_weights.measured_at = measures.measured_at
    AND suspect_weights."method" IS NOT DISTINCT FROM measures."method"
WHERE measures.patient_id = `+x.patient()+` AND measures.kind = 'weight'
ORDER BY measures.measured_at, measures."method"`,
		fmt.Sprintf("population %s; weight_basis %s: the latest plausible weight from %s days before t0, else the earliest to %s days after; at one time measured over stated over estimated",
			population, x.value("weight_basis"), before, after))
	if err != nil {
		return err
	}
	low, high := "dose_low", "dose_high"
	if population != "adult" {
		low, high = "child_dose_low", "child_dose_high"
	}
	x.out.Sections = append(x.out.Sections, Section{Title: "Dose", Notes: []string{
		fmt.Sprintf("delivered %s mL / %s kg = %s mL/kg; with units of unknown fate %s mL = %s mL/kg", x.fact("delivered_ml"), x.fact("weight_kg"), x.fact("dose"), x.fact("possible_ml"), x.fact("dose_possible")),
		fmt.Sprintf("band %s: below under %s = %s less %s, above over %s = %s plus %s mL/kg", x.fact("dose_band"), low, x.value(low), x.value("dose_tolerance"), high, x.value(high), x.value("dose_tolerance")),
		fmt.Sprintf("units short of the band: %s", x.fact("shortfall_units")),
	}})
	return nil
}

func weightAt(x *explainer) string {
	if at, ok := x.episode["weight_at"].(time.Time); ok {
		return "TIMESTAMP '" + at.UTC().Format("2006-01-02 15:04:05.999999") + "'"
	}
	return "NULL"
}

func (x *explainer) tests() error {
	err := x.table("Tests considered", `
SELECT labs.test, labs.collected_at, labs.resulted_at, coalesce(labs.bound, '') || coalesce(CAST(labs."value" AS VARCHAR), labs.no_value, '') AS result,
    labs.point_of_care, labs.status,
    CASE WHEN labs.collected_at <= `+x.at("t0")+` THEN 'before' WHEN labs.collected_at > `+x.at("t1")+` THEN 'after' ELSE 'during' END AS stands,
    labs.source_file || ':' || labs.source_row AS source
FROM labs
WHERE labs.patient_id = `+x.patient()+` AND labs.collected_at BETWEEN `+x.at("t0")+` - hours(`+x.value("before_h")+`) AND `+x.at("t1")+` + hours(`+x.value("after_h")+`)
ORDER BY labs.test, labs.collected_at, labs.point_of_care`,
		fmt.Sprintf("before: the latest with a value in the %s h to t0 and after the patient's episode before; after: the earliest in the %s h after t1 and before the next; at one time laboratory over point of care",
			x.value("before_h"), x.value("after_h")))
	if err != nil {
		return err
	}
	s := Section{Title: "Before and after", Columns: []string{"test", "before", "hours", "known in time", "after", "hours"}}
	for _, test := range contract.BeforeAfterTests {
		if x.episode[test+"_before_at"] == nil && x.episode[test+"_after_at"] == nil {
			continue
		}
		s.Rows = append(s.Rows, []string{test, x.result(test + "_before"), x.fact(test + "_before_hours"), x.fact(test + "_before_known"), x.result(test + "_after"), x.fact(test + "_after_hours")})
	}
	s.Notes = append(s.Notes, fmt.Sprintf("INR change %s, expected by the published regression %s", x.fact("change_inr"), x.fact("expected_change_inr")))
	x.out.Sections = append(x.out.Sections, s)
	return nil
}

// result writes a value with its bound.
func (x *explainer) result(column string) string {
	bound := x.episode[column+"_bound"]
	if bound == "unclottable" {
		return "unclottable"
	}
	if x.episode[column] == nil {
		return "none"
	}
	if bound != nil {
		return text(bound) + x.fact(column)
	}
	return x.fact(column)
}

func (x *explainer) evidence() error {
	recorded, err := x.recorded()
	if err != nil {
		return err
	}
	return x.table("Bleeding evidence", `
SELECT evidence.source, evidence.strength, evidence."at", coalesce(evidence.detail, '') AS detail,
    coalesce(evidence.source_file || ':' || evidence.source_row, '') AS source
FROM evidence
WHERE evidence.episode_id = `+x.id()+`
ORDER BY evidence."at", evidence.source, evidence.source_file, evidence.source_row`,
		fmt.Sprintf("looked for from %s h before t0 to t1 (activations %s h); basis of use: %s", x.value("bleeding_before_h"), x.value("activation_before_h"), x.fact("basis")), recorded)
}

// recorded says from when to when bleeding was recorded of anybody, and by which
// value of the policy that nobody told of it means that there was none.
func (x *explainer) recorded() (string, error) {
	days, err := x.one("SELECT strftime(min(first_day), '%Y-%m-%d') AS first_day, strftime(max(last_day), '%Y-%m-%d') AS last_day FROM recorded WHERE what = 'bleeding'")
	if err != nil {
		return "", err
	}
	window, err := x.one("SELECT strftime(local_time(" + x.at("t0") + " - hours(" + x.value("bleeding_before_h") + ")), '%Y-%m-%d') AS opens, strftime(local_time(" + x.at("t1") + "), '%Y-%m-%d') AS closes")
	if err != nil {
		return "", err
	}
	gaps, err := x.one(fmt.Sprintf(`
SELECT string_agg(strftime(month, '%%Y-%%m'), ', ' ORDER BY month) AS months
FROM (SELECT unnest(generate_series(date_trunc('month', DATE '%s'), date_trunc('month', DATE '%s'), INTERVAL 1 MONTH)) AS month)
WHERE strftime(month, '%%Y-%%m') NOT IN (SELECT month FROM recorded WHERE what = 'bleeding')`, text(window["opens"]), text(window["closes"])))
	if err != nil {
		return "", err
	}
	said := "no bleeding is recorded of anybody in any feed"
	if days["first_day"] != nil {
		said = fmt.Sprintf("bleeding is recorded, of anybody, from %s to %s", text(days["first_day"]), text(days["last_day"]))
		if gaps["months"] != nil {
			said += ", but in no row of " + text(gaps["months"])
		}
	}
	return fmt.Sprintf("%s; looked for here from %s to %s (the hospital's days). That nobody told of bleeding means none by the policy's bleeding_recorded_in = %s: "+
		"events, where all these days lie within those of recorded bleeding and each of their months has a row; indication, where all that is stated is raised_inr",
		said, text(window["opens"]), text(window["closes"]), x.value("bleeding_recorded_in")), nil
}

func (x *explainer) judgement() error {
	s := Section{Title: "Judgement"}
	limits := fmt.Sprintf("limits: INR and PT ratio over %s (before a procedure %s, with liver disease %s), aPTT ratio over %s, fibrinogen under %s (before a procedure %s) g/L",
		x.value("over_bleeding"), x.value("over_procedure"), x.value("over_liver_procedure"), x.value("aptt_ratio_over"),
		x.value("fibrinogen_under_bleeding"), x.value("fibrinogen_under_procedure"))
	criteria := make([]string, len(contract.CriterionTests))
	for i, test := range contract.CriterionTests {
		criteria[i] = test + " " + x.fact("criterion_"+test)
	}
	s.Notes = append(s.Notes, limits, "beyond its limit: "+strings.Join(criteria, ", "))
	for _, f := range []string{"outcome", "basis", "coagulopathy", "alternative", "dose_band", "course"} {
		s.Rows = append(s.Rows, []string{f, x.fact(f)})
	}
	s.Columns = []string{"fact", "word"}
	s.Notes = append(s.Notes,
		fmt.Sprintf("row %s of the decision table, the first that matches: %s, because %s", x.fact("mark_row"), x.fact("mark"), x.fact("because")),
		fmt.Sprintf("with inferred bleeding evidence left out the mark would be %s", x.fact("mark_recorded")),
		"policy "+x.fact("policy_hash"))
	x.out.Sections = append(x.out.Sections, s)
	return nil
}

func (x *explainer) findings() error {
	return x.table("Findings", `
SELECT findings.finding, findings.severity, findings.numbers
FROM findings
WHERE findings.episode_id = `+x.id()+`
ORDER BY findings.finding, findings."key"`, "findings never change a mark")
}
