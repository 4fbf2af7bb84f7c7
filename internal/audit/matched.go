package audit

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// Matched tells how many of the patients with plasma a table of patients knows. A
// feed that numbers patients otherwise (a spreadsheet has dropped the zeros in
// front) is read without a fault, and tells nothing of anybody.
type Matched struct {
	Table string `json:"table"`
	// Of counts the patients who were issued plasma while the table has rows, by the
	// years of results and by the first and last day of others; Patients are those of
	// them of whom it has a row.
	Patients int64 `json:"patients"`
	Of       int64 `json:"of"`
	// Otherwise counts those who would be known if their numbers were taken How.
	Otherwise int64  `json:"otherwise,omitempty"`
	How       string `json:"how,omitempty"`
}

// Of fewer patients chance may leave none, or few, in a feed that is whole.
const (
	fewestForNone = 5
	fewestForFew  = 10
	fewPatients   = 20 // one in so many
)

// None says that the table knows none of the patients, who are enough to say so.
func (m Matched) None() bool { return m.Patients == 0 && m.Of >= fewestForNone }

// Few says that it knows none of them, or so few that their numbers must differ: of a
// table that tells of few patients by its nature, where more match otherwise.
func (m Matched) Few() bool {
	few := m.Of >= fewestForFew && m.Patients*fewPatients < m.Of
	if m.Table == contract.Medicines.Name || m.Table == contract.Events.Name {
		few = few && m.Otherwise > 0
	}
	return m.None() || few
}

// Line says it in a line, with the next step, where the table knows few.
func (m Matched) Line() string {
	text := fmt.Sprintf("%s: NO PATIENT MATCHES: it has rows, but none of any of the %d patients who were issued plasma in its time", m.Table, m.Of)
	if m.Patients > 0 {
		text = fmt.Sprintf("%s: FEW PATIENTS MATCH: it has rows of only %d of the %d patients who were issued plasma in its time", m.Table, m.Patients, m.Of)
	}
	if m.Otherwise > 0 {
		return text + fmt.Sprintf("; %d of them match %s: %s", m.Otherwise, m.How, nextOf[m.How])
	}
	return text + ": see how patients are numbered in its export and in that of issues, and export the same number from both, or let a feed of aliases join them"
}

// otherwise are the ways in which two systems write one number differently: each is
// a form to which both are brought, as SQL, and what mends it.
var otherwise = []struct{ how, here, there, next string }{
	{"without leading zeros", "ltrim(%s, '0')", "ltrim(%s, '0')",
		"export the numbers as text, with their zeros (a spreadsheet drops them when it opens and saves a file), and run thawline ingest again"},
	{"without the letters and signs in front, and leading zeros", `regexp_replace(%s, '^[^0-9]*0*', '')`, `regexp_replace(%s, '^[^0-9]*0*', '')`,
		"export the number with the same prefix from both, or let a feed of aliases join them"},
	{"in capitals, without spaces and signs", `regexp_replace(upper(%s), '[^A-Z0-9]', '', 'g')`, `regexp_replace(upper(%s), '[^A-Z0-9]', '', 'g')`,
		"export the number in the same form from both, or let a feed of aliases join them"},
	{"without the last character of its own numbers (a check digit?)", "%s", "left(%s, greatest(length(%[1]s) - 1, 0))",
		"export the number without it, or with it from both, or let a feed of aliases join them"},
	{"without the last character of the blood bank's numbers (a check digit?)", "left(%s, greatest(length(%[1]s) - 1, 0))", "%s",
		"export the number without it, or with it from both, or let a feed of aliases join them"},
}

var nextOf = func() map[string]string {
	next := map[string]string{}
	for _, o := range otherwise {
		next[o.how] = o.next
	}
	return next
}()

// matchedTables are the tables of patients, with the time of a row.
var matchedTables = []struct {
	*contract.Table
	at string
}{
	{contract.Labs, "collected_at"}, {contract.Bedside, "started_at"}, {contract.Measures, "measured_at"},
	{contract.Events, `"at"`}, {contract.Medicines, "given_at"}, {contract.Patients, ""},
}

// MatchedPatients tells of each table of patients that has rows how many of those
// with plasma it knows. Without whole it stops to count where they are enough to
// be no fault: a few of many million results.
func MatchedPatients(ctx context.Context, st *store.Store, whole bool) ([]Matched, error) {
	issues := CurrentFiles(st, contract.Issues)
	if len(issues) == 0 {
		return nil, nil
	}
	temp, err := st.TempDir()
	if err != nil {
		return nil, err
	}
	e, err := engine.Open(ctx, engine.Options{TempDir: temp, AsWritten: true})
	if err != nil {
		return nil, err
	}
	defer e.Close()
	err = e.Exec(ctx, "patients with plasma", `
CREATE TABLE with_plasma AS
SELECT DISTINCT patient_id, CAST(issued_at AS DATE) AS issued
FROM `+readParquet(issues)+`
WHERE component = 'plasma' AND patient_id IS NOT NULL AND issued_at IS NOT NULL`)
	if err != nil {
		return nil, err
	}
	var all []Matched
	for _, t := range matchedTables {
		var files []store.File
		names := CurrentFiles(st, t.Table)
		for _, f := range st.Layer("current") {
			if slices.Contains(names, f.Path) && f.Rows > 0 {
				files = append(files, f)
			}
		}
		if len(files) == 0 {
			continue
		}
		m, err := matched(ctx, e, t.Table, t.at, files, whole)
		if err != nil {
			return nil, err
		}
		if m.Of > 0 {
			all = append(all, m)
		}
	}
	return all, nil
}

// matched counts for one table.
func matched(ctx context.Context, e *engine.Engine, t *contract.Table, at string, files []store.File, whole bool) (Matched, error) {
	m := Matched{Table: t.Name}
	// The newest first: what a hospital exports now is what it can mend.
	slices.SortFunc(files, func(a, b store.File) int { return strings.Compare(yearOf(b), yearOf(a)) })
	paths := make([]string, len(files))
	for i, f := range files {
		paths[i] = f.Path
	}
	from, to := "", ""
	switch {
	case t == contract.Labs:
		from, to = yearOf(files[len(files)-1])+"-01-01", yearOf(files[0])+"-12-31"
	case at != "":
		_, rows, err := e.Rows(ctx, "days of "+t.Name, fmt.Sprintf("SELECT strftime(min(%s) - INTERVAL 1 DAY, '%%Y-%%m-%%d'), strftime(max(%[1]s) + INTERVAL 1 DAY, '%%Y-%%m-%%d') FROM %s", at, readParquet(paths)))
		if err != nil {
			return m, err
		}
		from, _ = rows[0][0].(string)
		to, _ = rows[0][1].(string)
	}
	within := "true"
	if from != "" {
		within = fmt.Sprintf("issued BETWEEN DATE '%s' AND DATE '%s'", from, to)
	}
	err := e.Exec(ctx, "patients asked for", "CREATE OR REPLACE TABLE asked AS SELECT DISTINCT patient_id FROM with_plasma WHERE "+within)
	if err != nil {
		return m, err
	}
	if m.Of, err = count(ctx, e, "SELECT count(*) FROM asked"); err != nil || m.Of == 0 {
		return m, err
	}
	// Where all is well the newest file alone says so.
	if !whole {
		known, err := count(ctx, e, "SELECT count(DISTINCT patient_id) FROM "+readParquet(paths[:1])+" WHERE patient_id IN (SELECT patient_id FROM asked)")
		if err != nil {
			return m, err
		}
		if m.Patients = known; m.Patients > 0 && m.Patients*fewPatients >= m.Of {
			return m, nil
		}
	}
	err = e.Exec(ctx, "numbers told", "CREATE OR REPLACE TABLE told AS SELECT DISTINCT patient_id FROM "+readParquet(paths)+" WHERE patient_id IS NOT NULL")
	if err != nil {
		return m, err
	}
	if m.Patients, err = count(ctx, e, "SELECT count(*) FROM asked WHERE patient_id IN (SELECT patient_id FROM told)"); err != nil || m.Patients*fewPatients >= m.Of {
		return m, err
	}
	for _, o := range otherwise {
		n, err := count(ctx, e, fmt.Sprintf("SELECT count(DISTINCT patient_id) FROM asked WHERE %s IN (SELECT %s FROM told)",
			fmt.Sprintf(o.here, "patient_id"), fmt.Sprintf(o.there, "patient_id")))
		if err != nil {
			return m, err
		}
		// Some numbers are those of others but for a digit, by chance.
		if n > m.Otherwise && n > 2*m.Patients && n*4 >= m.Of {
			m.Otherwise, m.How = n, o.how
		}
	}
	return m, nil
}

// yearOf is the year that a file of the layer holds, or nothing.
func yearOf(f store.File) string { return f.Name[strings.LastIndexByte(f.Name, '/')+1:] }

func count(ctx context.Context, e *engine.Engine, query string) (int64, error) {
	_, rows, err := e.Rows(ctx, "count", query)
	if err != nil {
		return 0, err
	}
	n, _ := rows[0][0].(int64)
	return n, nil
}
