package audit

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"iter"
	"maps"
	"path/filepath"
	"strings"
	"sync"

	"github.com/apache/arrow/go/v17/arrow"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/queries"
)

// markVersion names what Go does to the layer audit beside the queries. Change
// it when the same records, policy and queries would give other files.
const markVersion = "audit 3"

// Summary is what Mark made, in counts.
type Summary struct {
	// UpToDate says that nothing had changed, and nothing was written.
	UpToDate bool `json:"up_to_date"`
	// Episodes counts episodes; it is the sum of Marks.
	Episodes int `json:"episodes"`
	// Marks counts episodes by mark. A mark that no episode has is absent.
	Marks map[string]int `json:"marks"`
	// Units counts plasma units and issues; it is the sum of Fates.
	Units int `json:"units"`
	// Fates counts plasma units by fate.
	Fates map[string]int `json:"fates"`
	// WithoutEpisode counts plasma units without a patient or an issue.
	WithoutEpisode int `json:"units_without_episode"`
	// RulesRun and RulesNotRun count rules; Findings counts what fired.
	RulesRun    int `json:"rules_run"`
	RulesNotRun int `json:"rules_not_run"`
	Findings    int `json:"findings"`
	// SuspectWeights counts weights that were not believed.
	SuspectWeights int `json:"suspect_weights"`
}

// Mark builds the layer audit of a store open for writing from its layer
// current: episodes, their marks, and what the rules noticed. Where neither
// records nor policy nor queries have changed it writes nothing. It refuses to
// write tables whose sums do not agree.
func Mark(ctx context.Context, st *store.Store, s *site.Site, p *policy.Policy) (Summary, error) {
	given, err := givenOf(ctx, s, p)
	if err != nil {
		return Summary{}, err
	}
	return mark(ctx, st, clock{s.Zone, s.ZoneName}, given)
}

// givenOf is what a site and its policy give to the marks; Present is left out.
func givenOf(ctx context.Context, s *site.Site, p *policy.Policy) (Given, error) {
	local, err := LocalRules(ctx, s, p)
	return Given{Policy: p, ControlledStorage: s.ControlledStorage, Local: local}, err
}

// mark is Mark over what it needs of a site; it fills given.Present.
func mark(ctx context.Context, st *store.Store, at clock, given Given) (Summary, error) {
	present, err := presentFeeds(st)
	if err != nil {
		return Summary{}, err
	}
	given.Present = present
	from, err := markFrom(st, at, given)
	if err != nil {
		return Summary{}, err
	}
	if old, found := st.LayerFacts("audit"); found && old.From == from {
		summary := summaryOf(old.Sums)
		summary.UpToDate = true
		return summary, nil
	}
	temp, err := st.TempDir()
	if err != nil {
		return Summary{}, err
	}
	e, err := engine.Open(ctx, engine.Options{TempDir: temp, Threads: engine.ThreadsBeside})
	if err != nil {
		return Summary{}, err
	}
	defer e.Close()
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		return Summary{}, err
	}
	if err := e.Exec(ctx, "queries/macros.sql", string(macros)); err != nil {
		return Summary{}, err
	}
	if err := e.Zone(ctx, at.zone); err != nil {
		return Summary{}, err
	}
	if err := CurrentViews(ctx, e, st); err != nil {
		return Summary{}, err
	}
	var summary Summary
	sums := map[string]int64{}
	err = st.ReplaceLayer(ctx, "audit", func(dir string) ([]store.File, error) {
		w := auditWriter{dir: dir}
		if err := markTables(ctx, e, given, w.steps()...); err != nil {
			return nil, err
		}
		summary, err = checkSums(ctx, e)
		if err != nil {
			return nil, err
		}
		maps.Copy(sums, summary.sums())
		for _, t := range []*contract.Table{contract.Findings, contract.RulesRun} {
			if err := w.write(ctx, e, t); err != nil {
				return nil, err
			}
		}
		return w.files, nil
	}, store.LayerFacts{From: from, Sums: sums})
	return summary, err
}

// markFrom is a hash over all that the layer audit is made from.
func markFrom(st *store.Store, at clock, given Given) (string, error) {
	h := sha256.New()
	fmt.Fprintf(h, "%s\x00%d\x00%s\x00%q\x00", markVersion, contract.Version, at.name, given.ControlledStorage)
	for _, f := range st.Layer("current") {
		fmt.Fprintf(h, "%s\x00%s\x00", f.Name, f.SHA256)
	}
	for _, t := range contract.Feeds() {
		fmt.Fprintf(h, "%s %t\x00", t.Name, given.Present[t.Name])
	}
	table, err := given.Policy.Table()
	if err != nil {
		return "", err
	}
	for _, rows := range [][][]any{given.Policy.Rows(), given.Policy.WeightRows(), table.Rows()} {
		for _, row := range rows {
			for _, cell := range row {
				fmt.Fprintf(h, "%#v\x00", plainCell(cell))
			}
		}
	}
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		return "", err
	}
	h.Write(macros)
	for _, stage := range append([]string{"rules"}, markStages...) {
		all, err := LoadQueries(queries.FS, stage)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(h, "%s\x00", Fingerprint(all))
	}
	others, err := policy.OtherValues()
	if err != nil {
		return "", err
	}
	for _, other := range others {
		fmt.Fprintf(h, "%s %v\x00", other.Column, other.Setting)
	}
	for _, rule := range given.Local {
		fmt.Fprintf(h, "%s\x00%s\x00", rule.Name, rule.SQL)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// plainCell gives a time by its text: its inner form holds a pointer, which
// differs from run to run.
func plainCell(cell any) any {
	if text, ok := cell.(fmt.Stringer); ok {
		return text.String()
	}
	return cell
}

// auditOrder says how the rows of each table of the layer audit are ordered,
// as SQL has it; no two rows of a table are alike in it.
var auditOrder = map[*contract.Table]string{
	contract.Episodes: "episode_id",
	contract.Units:    "bag, issued_at NULLS FIRST",
	contract.Bags:     "bag",
	contract.Evidence: "episode_id, source, at, source_file, source_row",
	contract.Weights:  "patient_id, measured_at, \"method\" NULLS FIRST",
	contract.Findings: "finding, key, numbers",
	contract.RulesRun: "finding",

	contract.OtherMarks: "\"value\", setting, episode_id",
}

// auditWriter stages the files of the layer audit in dir.
type auditWriter struct {
	dir   string
	mutex sync.Mutex
	files []store.File
}

// steps are those that write what the rules do not change, while the rules run.
func (w *auditWriter) steps() []step {
	var steps []step
	for _, t := range contract.Audit() {
		if t != contract.Findings && t != contract.RulesRun {
			steps = append(steps, step{"file " + t.Name, []string{t.Name}, func(ctx context.Context, e *engine.Engine) error {
				return w.write(ctx, e, t)
			}})
		}
	}
	return steps
}

// write stages one table.
func (w *auditWriter) write(ctx context.Context, e *engine.Engine, t *contract.Table) error {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = c.Name
	}
	f, err := writeRecords(filepath.Join(w.dir, t.Name+".parquet"), t, e.Ordered(ctx, "audit "+t.Name, t.Name, names, auditOrder[t]))
	if err != nil {
		return err
	}
	w.mutex.Lock()
	defer w.mutex.Unlock()
	w.files = append(w.files, f)
	return nil
}

// WriteTable writes the columns of t from what stands after FROM (a table, with
// its order where it has none) to a stored file.
func WriteTable(ctx context.Context, e *engine.Engine, path string, t *contract.Table, from string) (store.File, error) {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = engine.Name(c.Name)
	}
	return writeRecords(path, t, e.Records(ctx, "table "+t.Name, "SELECT "+strings.Join(names, ", ")+" FROM "+from))
}

// writeRecords writes ordered rows of t to a stored file.
func writeRecords(path string, t *contract.Table, records iter.Seq2[arrow.Record, error]) (store.File, error) {
	w, err := store.NewWriter(path, t, t.Columns)
	if err != nil {
		return store.File{}, err
	}
	for record, err := range records {
		if err == nil {
			err = w.Write(record)
		}
		if err != nil {
			w.Abort()
			return store.File{}, err
		}
	}
	return w.Close()
}

// auditChecks are sums that must agree before anything is written: each query
// returns the two sides.
var auditChecks = []struct{ says, query string }{
	{"plasma rows of issues = units",
		"SELECT (SELECT count(*) FROM issues WHERE component = 'plasma'), (SELECT count(*) FROM units)"},
	{"plasma issues with a patient = units in an episode",
		"SELECT (SELECT count(*) FROM issues WHERE component = 'plasma' AND patient_id IS NOT NULL AND issued_at IS NOT NULL), (SELECT count(*) FROM units WHERE episode_id IS NOT NULL)"},
	{"units in an episode = units_issued of all episodes",
		"SELECT (SELECT count(*) FROM units WHERE episode_id IS NOT NULL), (SELECT CAST(coalesce(sum(units_issued), 0) AS BIGINT) FROM episodes)"},
	{"units_issued = its parts by fate",
		`SELECT CAST(coalesce(sum(units_issued), 0) AS BIGINT),
			CAST(coalesce(sum(units_transfused + units_presumed + units_returned + units_discarded + units_transferred + units_unknown), 0) AS BIGINT) FROM episodes`},
	{"episodes = episodes of units",
		"SELECT (SELECT count(*) FROM episodes), (SELECT count(DISTINCT episode_id) FROM units)"},
	{"episodes = their numbers, each once",
		"SELECT (SELECT count(*) FROM episodes), (SELECT count(DISTINCT episode_id) FROM episodes)"},
	{"delivered_ml of episodes = given_ml of their units, in mL",
		`SELECT CAST(coalesce((SELECT sum(delivered_ml) FROM episodes), 0) AS BIGINT), CAST(coalesce((SELECT sum(given_ml) FROM units WHERE episode_id IS NOT NULL), 0) AS BIGINT)`},
	{"evidence of episodes = evidence",
		"SELECT (SELECT count(*) FROM evidence WHERE episode_id IN (SELECT episode_id FROM episodes)), (SELECT count(*) FROM evidence)"},
	{"findings = fired of all rules",
		"SELECT (SELECT count(*) FROM findings), (SELECT CAST(coalesce(sum(fired), 0) AS BIGINT) FROM rules_run)"},
}

// checkSums counts what was made, and refuses tables whose sums do not agree.
func checkSums(ctx context.Context, e *engine.Engine) (Summary, error) {
	for _, check := range auditChecks {
		_, rows, err := e.Rows(ctx, check.says, check.query)
		if err != nil {
			return Summary{}, err
		}
		if left, right := rows[0][0].(int64), rows[0][1].(int64); left != right {
			return Summary{}, fmt.Errorf("the sums of the audit do not agree (%s): %d and %d; nothing was written: please report this as a defect of thawline", check.says, left, right)
		}
	}
	sums := map[string]int64{}
	for _, count := range []string{
		"SELECT 'mark ' || mark, count(*) FROM episodes GROUP BY mark",
		"SELECT 'fate ' || fate, count(*) FROM units GROUP BY fate",
		"SELECT 'units_without_episode', count(*) FROM units WHERE episode_id IS NULL",
		"SELECT CASE WHEN run THEN 'rules_run' ELSE 'rules_not_run' END, count(*) FROM rules_run GROUP BY run",
		"SELECT 'findings', count(*) FROM findings",
		"SELECT 'suspect_weights', count(*) FROM suspect_weights",
	} {
		_, rows, err := e.Rows(ctx, "sums of the audit", count)
		if err != nil {
			return Summary{}, err
		}
		for _, row := range rows {
			sums[row[0].(string)] = row[1].(int64)
		}
	}
	return summaryOf(sums), nil
}

// sums puts the counts into the manifest's form.
func (s Summary) sums() map[string]int64 {
	sums := map[string]int64{
		"episodes": int64(s.Episodes), "units": int64(s.Units), "units_without_episode": int64(s.WithoutEpisode),
		"rules_run": int64(s.RulesRun), "rules_not_run": int64(s.RulesNotRun), "findings": int64(s.Findings), "suspect_weights": int64(s.SuspectWeights),
	}
	for mark, n := range s.Marks {
		sums["mark "+mark] = int64(n)
	}
	for fate, n := range s.Fates {
		sums["fate "+fate] = int64(n)
	}
	return sums
}

// LastSummary returns the sums of the marks that the store holds, and whether
// it holds any.
func LastSummary(st *store.Store) (Summary, bool) {
	facts, found := st.LayerFacts("audit")
	if !found {
		return Summary{}, false
	}
	return summaryOf(facts.Sums), true
}

// summaryOf is the summary that a layer's sums were filled from. Episodes and
// units are sums over marks and fates.
func summaryOf(sums map[string]int64) Summary {
	s := Summary{
		Marks: map[string]int{}, Fates: map[string]int{}, WithoutEpisode: int(sums["units_without_episode"]),
		RulesRun: int(sums["rules_run"]), RulesNotRun: int(sums["rules_not_run"]), Findings: int(sums["findings"]), SuspectWeights: int(sums["suspect_weights"]),
	}
	for key, n := range sums {
		if mark, found := strings.CutPrefix(key, "mark "); found {
			s.Marks[mark] = int(n)
			s.Episodes += int(n)
		}
		if fate, found := strings.CutPrefix(key, "fate "); found {
			s.Fates[fate] = int(n)
			s.Units += int(n)
		}
	}
	return s
}
