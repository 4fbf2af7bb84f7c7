package audit

import (
	"context"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/internal/site"
)

// localSite is a site with rules of its own, by file name.
func localSite(t *testing.T, rules map[string]string) *site.Site {
	t.Helper()
	dir := t.TempDir()
	for name, text := range rules {
		path := filepath.Join(dir, "rules", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	return &site.Site{Dir: dir, Path: "site.yaml", Zone: london, ZoneName: "Europe/London"}
}

// exampleRules are the rules of testdata/localrules.
func exampleRules(t *testing.T) map[string]string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/localrules/rules/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("no examples (%v)", err)
	}
	rules := map[string]string{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		rules[filepath.Base(file)] = string(text)
	}
	return rules
}

const localHeader = `-- mine: a rule of the site's own.
--
-- of:        episode
-- reads:     judged_episodes
-- fires:     always
-- not known: never
-- severity:  practice
-- source:    common practice
`

const localBody = "SELECT judged_episodes.episode_id AS key, judged_episodes.episode_id, 'fired' AS result, judged_episodes.dose\nFROM judged_episodes\n"

// TestLocalRulesAreCheckedBeforeTheyRun damages one thing at a time in a rule.
// Each fault is told with the file, and the line where the engine knows it.
func TestLocalRulesAreCheckedBeforeTheyRun(t *testing.T) {
	e := currentEngine(t, 2)
	c, err := newLocalChecker(context.Background(), e, policy.Default())
	if err != nil {
		t.Fatal(err)
	}
	selecting := func(body string) string { return localHeader + body }
	for _, damaged := range []struct {
		name, file, text string
		says             []string
	}{
		{"sound", "mine.sql", selecting(localBody), nil},
		{"written on another system", "mine.sql", "\ufeff" + strings.ReplaceAll(selecting(localBody), "\n", "\r\n"), nil},
		{"a name with a space", "my rule.sql", strings.Replace(selecting(localBody), "mine:", "my rule:", 1), []string{"rules/my rule.sql", "letters"}},
		{"the name of a built-in rule", "over_dose.sql", strings.Replace(selecting(localBody), "mine:", "over_dose:", 1), []string{"rules/over_dose.sql", "already"}},
		{"the name of a table", "issues.sql", strings.Replace(selecting(localBody), "mine:", "issues:", 1), []string{"rules/issues.sql", "table"}},
		{"a header of another name", "mine.sql", strings.Replace(selecting(localBody), "mine:", "yours:", 1), []string{"rules/mine.sql:1", "yours"}},
		{"no header", "mine.sql", localBody, []string{"rules/mine.sql:1"}},
		{"no source", "mine.sql", strings.Replace(selecting(localBody), "common practice", "", 1), []string{"source"}},
		{"a source that is none", "mine.sql", strings.Replace(selecting(localBody), "common practice", "TBD", 1), []string{"source", "guideline"}},
		{"an unknown severity", "mine.sql", strings.Replace(selecting(localBody), "severity:  practice", "severity:  urgent", 1), []string{"urgent", "safety, practice, data"}},
		{"a need that is no feed", "mine.sql", strings.Replace(selecting(localBody), "-- reads:", "-- needs:     theatre\n-- reads:", 1), []string{"theatre"}},
		{"a need that is no policy value", "mine.sql", strings.Replace(selecting(localBody), "-- reads:", "-- needs:     policy dose_lo\n-- reads:", 1), []string{"dose_lo"}},
		{"reads what there is not", "mine.sql", strings.Replace(selecting(localBody), "judged_episodes\n-- fires", "judged_episodes, findings\n-- fires", 1), []string{"findings"}},
		{"a table that the header does not name", "mine.sql", selecting(localBody + "INNER JOIN\nlabs USING (patient_id)"), []string{"rules/mine.sql:12", `"labs"`, "header"}},
		{"a syntax error", "mine.sql", selecting("SELECT\nFROM judged_episodes WHERE\n"), []string{"rules/mine.sql:", "syntax error"}},
		{"a column that there is not", "mine.sql", selecting("SELECT judged_episodes.episode_id AS key, episode_id, 'clear' AS result,\njudged_episodes.nothing\nFROM judged_episodes"), []string{"rules/mine.sql:10", "nothing"}},
		{"no key", "mine.sql", selecting("SELECT judged_episodes.episode_id, 'clear' AS result FROM judged_episodes"), []string{"no column key"}},
		{"two statements", "mine.sql", selecting(localBody + "; DROP TABLE judged_episodes"), []string{"rules/mine.sql", "SELECT"}},
		{"two selects", "mine.sql", selecting(localBody + ";\n" + localBody), []string{"2 statements"}},
		{"another statement", "mine.sql", selecting("DELETE FROM judged_episodes"), []string{"rules/mine.sql", "SELECT"}},
		{"COPY", "mine.sql", selecting("COPY judged_episodes TO '/tmp/out.csv'"), []string{"SELECT"}},
		{"ATTACH", "mine.sql", selecting("ATTACH '/tmp/other.duckdb' AS other"), []string{"SELECT"}},
		{"PRAGMA", "mine.sql", selecting("PRAGMA database_list"), []string{"SELECT"}},
		{"SET", "mine.sql", selecting("SET threads = 8"), []string{"SELECT"}},
		{"a file as a table", "mine.sql", selecting("SELECT 1 AS key\nFROM '/etc/passwd'"), []string{"rules/mine.sql:10", "header"}},
		{"read_csv", "mine.sql", selecting("SELECT 1 AS key\nFROM read_csv('/etc/passwd')"), []string{"rules/mine.sql:10", "read_csv"}},
		{"read_text deep inside", "mine.sql", selecting("SELECT (SELECT max(content)\nFROM read_text('/etc/passwd')) AS key FROM judged_episodes"), []string{"rules/mine.sql:10", "read_text"}},
		{"a query of a text", "mine.sql", selecting("SELECT * FROM query('SELECT 1')"), []string{"query"}},
		{"information_schema", "mine.sql", selecting("SELECT table_name AS key FROM information_schema.tables"), []string{"schema"}},
		{"the engine's catalogue", "mine.sql", selecting("SELECT table_name AS key FROM duckdb_tables()"), []string{"duckdb_tables"}},
		{"a pragma as a table", "mine.sql", selecting("SELECT name AS key FROM pragma_table_info('labs')"), []string{"pragma_table_info"}},
		{"a table by its schema", "mine.sql", selecting("SELECT patient_id AS key FROM main.labs"), []string{"schema"}},
		{"a part of the query named as a table elsewhere", "mine.sql", selecting("SELECT key FROM (SELECT patient_id AS key, patient_id AS episode_id, 'clear' AS result FROM labs) WHERE EXISTS (WITH labs AS (SELECT 1) SELECT 1 FROM labs)"), []string{"rules/mine.sql"}},
		{"the clock", "mine.sql", selecting(localBody + "WHERE judged_episodes.t0 <\nnow()"), []string{"rules/mine.sql:12", "now"}},
		{"the day", "mine.sql", selecting(localBody + "WHERE judged_episodes.t0 < current_date"), []string{"current_date"}},
		{"chance", "mine.sql", selecting(localBody + "WHERE random() < 0.5"), []string{"random"}},
		{"a sample", "mine.sql", selecting(localBody + "USING SAMPLE 10"), []string{"random"}},
	} {
		t.Run(damaged.name, func(t *testing.T) {
			s := localSite(t, map[string]string{damaged.file: damaged.text})
			rules, err := c.check(context.Background(), s, []string{"rules/" + damaged.file})
			if damaged.says == nil {
				if err != nil || len(rules) != 1 || rules[0].Name != "mine" {
					t.Fatalf("%v %v, want the rule", rules, err)
				}
				return
			}
			var faults *RuleFaults
			if !errors.As(err, &faults) || rules != nil {
				t.Fatalf("%v, %v: want faults and no rules", rules, err)
			}
			for _, word := range append(damaged.says, "nothing was written") {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("the error does not say %q:\n%v", word, err)
				}
			}
		})
	}
	// All faults of all rules come at once.
	_, err = LocalRules(context.Background(), localSite(t, map[string]string{"mine.sql": localBody, "yours.sql": localBody, "sound.sql": strings.Replace(localHeader, "mine:", "sound:", 1) + localBody}), policy.Default())
	if err == nil || !strings.Contains(err.Error(), "mine.sql") || !strings.Contains(err.Error(), "yours.sql") || strings.Contains(err.Error(), "sound.sql") {
		t.Errorf("two faults: %v", err)
	}
}

// markedHospital has one patient with four units at night, who has labs beside
// a stranger without plasma, and the tables that rules write to.
func markedHospital(t *testing.T) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	h := newHospital()
	h.patient("SECRET", 2.0, 2)
	for i, at := range []string{"22:00", "22:05", "22:05", "22:10"} {
		h.add("issues", "N%d,NIGHT,2025-03-12T%sZ,2025-03-12T22:30Z,%s,A", i, at, []string{"2025-03-12T23:00Z", ""}[i%2])
	}
	h.add("labs", "STRANGER,inr,3,2025-03-10T09:00Z,")
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	for table, lines := range h.tables {
		given.Present[table] = true
		insert(t, e, table, withDefaults(table, strings.Join(lines, "\n")))
	}
	if err := EpisodeTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	for _, table := range []*contract.Table{contract.Findings, contract.RulesRun} {
		if err := e.Load(ctx, "unsorted_"+table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	return e
}

// localRule reads one rule, as LocalRules does.
func localRule(t *testing.T, e *engine.Engine, file, text string) (*Query, error) {
	t.Helper()
	c, err := newLocalChecker(context.Background(), e, policy.Default())
	if err != nil {
		t.Fatal(err)
	}
	s := localSite(t, map[string]string{file: text})
	return c.read(context.Background(), filepath.Join(s.Dir, "rules", file), "rules/"+file)
}

// TestLocalRulesRunWhole runs rules that fail while they run, each alone: nothing
// of them stays, and no error shows a cell.
func TestLocalRulesRunWhole(t *testing.T) {
	ctx := context.Background()
	e := markedHospital(t)
	localRuleTime = 2 * time.Second
	t.Cleanup(func() { localRuleTime = time.Minute })
	for _, c := range []struct{ name, reads, of, body, says string }{
		{"a cell that is no number", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, CAST(patient_id AS INTEGER) AS n FROM judged_episodes", "Conversion Error"},
		{"an error of its own", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, error(patient_id) AS n FROM judged_episodes", "rules/mine.sql"},
		{"a result of its own", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'perhaps' AS result FROM judged_episodes", "fired, clear and not_known"},
		{"a severity of its own", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, 'urgent' AS severity FROM judged_episodes", "severity"},
		{"a key twice", "judged_episodes, labs", "episode", "SELECT judged_episodes.episode_id AS key, judged_episodes.episode_id, 'clear' AS result FROM judged_episodes, range(2)", "more than once"},
		{"a key of its own", "judged_episodes", "episode", "SELECT patient_id AS key, episode_id, 'fired' AS result FROM judged_episodes", "no episode's"},
		{"a key of a unit", "judged_units", "episode", "SELECT key, episode_id, 'fired' AS result FROM judged_units", "no episode's"},
		{"another episode's key", "judged_units, judged_episodes", "unit", "SELECT key, 'x' AS episode_id, 'fired' AS result FROM judged_units", "no unit's"},
		{"a patient among the numbers", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, patient_id AS who FROM judged_episodes", "name a patient"},
		{"a unit among the numbers", "units, judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, (SELECT max(unit_no) FROM units) AS bag FROM judged_episodes", "name a patient"},
		{"an endless recursion", "judged_episodes", "episode", "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT 1 FROM n) SELECT episode_id AS key, episode_id, 'fired' AS result, (SELECT sum(i) FROM n) AS n FROM judged_episodes", "rules/mine.sql"},
		{"a sort without end", "judged_episodes", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, (SELECT max(i) FROM (SELECT a.range * b.range AS i FROM range(1000000) AS a, range(1000000) AS b ORDER BY i)) AS n FROM judged_episodes", "rules/mine.sql"},
		{"rows of a stranger", "judged_episodes, labs", "episode", "SELECT episode_id AS key, episode_id, 'fired' AS result, (SELECT 1 / (count(*) FILTER (WHERE labs.patient_id = 'STRANGER') - 1 + 1) FROM labs) AS n FROM judged_episodes WHERE (SELECT count(*) FROM labs WHERE labs.patient_id = 'STRANGER') > 0", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			header := strings.NewReplacer("judged_episodes", c.reads, "of:        episode", "of:        "+c.of).Replace(localHeader)
			rule, err := localRule(t, e, "mine.sql", header+c.body)
			if err != nil {
				t.Fatal(err)
			}
			err = runLocal(ctx, e, rule)
			if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
				t.Errorf("error is %v, want %q in it", err, c.says)
			}
			if err != nil && strings.Contains(err.Error(), "SECRET") {
				t.Errorf("the error shows a cell: %v", err)
			}
			_, rows, err := e.Rows(ctx, "left", "SELECT (SELECT count(*) FROM unsorted_findings), (SELECT count(*) FROM information_schema.tables WHERE table_name IN ('mine', 'local_findings', 'local_run'))")
			if err != nil || rows[0][0] != int64(0) || rows[0][1] != int64(0) {
				t.Errorf("%v (%v): a rule that failed left findings or tables behind", rows, err)
			}
		})
	}
}

// TestLocalRulesAddFindings runs the examples over a store: they add findings and
// rows of rules_run, and change nothing else.
func TestLocalRulesAddFindings(t *testing.T) {
	ctx := context.Background()
	const file = "testdata/marks/worked-14.txtar"
	without := localSite(t, nil)
	plain, st := storeOf(t, file), storeOf(t, file)
	if _, err := Mark(ctx, plain, without, policy.Default()); err != nil {
		t.Fatal(err)
	}
	own := localSite(t, exampleRules(t))
	first, err := Mark(ctx, st, own, policy.Default())
	if err != nil {
		t.Fatal(err)
	}
	again, err := Mark(ctx, st, own, policy.Default())
	if err != nil || !again.UpToDate || again.RulesRun != first.RulesRun {
		t.Errorf("nothing changed, but the second marking says %+v (%v)", again, err)
	}
	for name, hash := range hashes(plain) {
		if same := hashes(st)[name] == hash; same == (name == "rules_run.parquet" || name == "rules_run") {
			t.Errorf("%s: same is %t", name, same)
		}
	}
	// A rule that fails while it runs writes nothing.
	before := hashes(st)
	if err := os.WriteFile(filepath.Join(own.Dir, "rules", "mine.sql"), []byte(localHeader+"SELECT episode_id AS key, episode_id, 'fired' AS result, CAST(patient_id AS INTEGER) AS n FROM judged_episodes"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Mark(ctx, st, own, policy.Default())
	var faults *RuleFaults
	if !errors.As(err, &faults) || !maps.Equal(before, hashes(st)) {
		t.Errorf("a broken rule: %v; the audit tables must stay as they were", err)
	}
}

// TestLocalRulesFire holds what the examples find against a night that was
// invented for them.
func TestLocalRulesFire(t *testing.T) {
	ctx := context.Background()
	e := markedHospital(t)
	for file, text := range exampleRules(t) {
		rule, err := localRule(t, e, file, text)
		if err != nil {
			t.Fatal(err)
		}
		if err := runLocal(ctx, e, rule); err != nil {
			t.Fatal(err)
		}
	}
	_, rows, err := e.Rows(ctx, "findings", `SELECT finding || ' ' || "of" || ' ' || severity || ' ' || CASE "of" WHEN 'unit' THEN split_part(key, '|', 1) ELSE numbers END FROM unsorted_findings ORDER BY ALL`)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, row := range rows {
		got = append(got, row[0].(string))
	}
	want := []string{
		`large_order_at_night episode practice {"units_issued":4,"hour":22}`,
		"start_without_end unit data N1", "start_without_end unit data N3",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	_, rows, err = e.Rows(ctx, "rules_run", "SELECT finding || ' ' || run || ' ' || judged || ' ' || fired || ' ' || not_known FROM unsorted_rules_run ORDER BY ALL")
	if err != nil || len(rows) != 2 || rows[0][0] != "large_order_at_night true 2 1 0" || rows[1][0] != "start_without_end true 6 2 0" {
		t.Errorf("%v (%v)", rows, err)
	}
}
