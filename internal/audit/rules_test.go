package audit

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/queries"
)

// TestRules holds every rule against small cases: one file a rule, one patient a
// case, whose name says it. The part want lists under fired, clear and not_known
// the patients (rules of episodes) or units (rules of units); who is on no list
// is not judged. Columns that a table does not show hold the word of ruleDefaults.
func TestRules(t *testing.T) {
	rules, err := Rules()
	if err != nil {
		t.Fatal(err)
	}
	for _, rule := range rules {
		t.Run(rule.Name, func(t *testing.T) {
			archive, err := txtar.ParseFile(filepath.Join("testdata", "rules", rule.Name+".txtar"))
			if err != nil {
				t.Fatalf("every rule has its cases: %v", err)
			}
			ruleCase(t, rule, archive)
		})
	}
}

// ruleDefaults are the values of columns that a case does not show.
var ruleDefaults = map[string]string{
	"issues": "product_code=F bag_code=F is_batch=false component=plasma product=fresh_frozen nominal_ml=275 volume_ml=275 unit_abo=A indication=other " +
		"fate=transfused bag=@unit_no issued_local=@issued_at source_file=issues.csv source_row=#",
	"labs":      "test=inr status=final point_of_care=false source_file=labs.csv source_row=#",
	"measures":  "kind=weight value=70 measured_at=2025-03-01T08:00Z method=measured source_file=measures.csv source_row=#",
	"events":    "source_file=events.csv source_row=#",
	"medicines": "source_file=medicines.csv source_row=#",
	"patients":  "birth_date=1970-01-01 sex=F abo=A source_file=patients.csv source_row=#",
}

// withDefaults adds the columns that a case's table does not show. @name takes
// the value of another column, # the row's number.
func withDefaults(table, text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	header := strings.Split(lines[0], ",")
	shown := slices.Clone(header)
	for _, field := range strings.Fields(ruleDefaults[table]) {
		name, value, _ := strings.Cut(field, "=")
		if slices.Contains(shown, name) {
			continue
		}
		lines[0] += "," + name
		for i := 1; i < len(lines); i++ {
			cell := value
			if other, found := strings.CutPrefix(value, "@"); found {
				cell = strings.Split(lines[i], ",")[slices.Index(header, other)]
			}
			if value == "#" {
				cell = fmt.Sprint(i + 1)
			}
			lines[i] += "," + cell
		}
	}
	return strings.Join(lines, "\n") + "\n"
}

func ruleCase(t *testing.T, rule *Query, archive *txtar.Archive) {
	ctx := context.Background()
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	want := map[string][]string{}
	for _, part := range archive.Files {
		text := string(part.Data)
		switch name := strings.TrimSuffix(part.Name, ".csv"); name {
		case "want":
			for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
				result, keys, _ := strings.Cut(line, ":")
				want[result] = strings.Fields(keys)
			}
		case "policy":
			for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
				key, value, _ := strings.Cut(line, "=")
				if key == "controlled_storage" {
					given.ControlledStorage = append(given.ControlledStorage, value)
				} else if err := given.Policy.Set(key, value); err != nil {
					t.Fatal(err)
				}
			}
		default:
			given.Present[name] = true
			insert(t, e, name, withDefaults(name, text))
		}
	}
	if err := MarkTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	if why := missing(rule, given); why != "" {
		t.Fatalf("the rule is not run over its cases: %s", why)
	}
	if err := Run(ctx, e, []*Query{rule}); err != nil {
		t.Fatal(err)
	}
	shown := "split_part(key, '|', 1)"
	if rule.Header["of"] == "episode" {
		shown = "(SELECT episodes.patient_id FROM episodes WHERE episodes.episode_id = key)"
	}
	_, rows, err := e.Rows(ctx, rule.Path, "SELECT "+shown+" AS name, result FROM "+engine.Name(rule.Name)+" ORDER BY ALL")
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][]string{}
	for _, row := range rows {
		got[row[1].(string)] = append(got[row[1].(string)], row[0].(string))
	}
	for _, result := range []string{"fired", "clear", "not_known"} {
		slices.Sort(want[result])
		if !slices.Equal(got[result], want[result]) {
			t.Errorf("%s: got %v, want %v", result, got[result], want[result])
		}
	}
}

// caseEngine starts an engine with the macros, the clock of London and every
// current table, empty.
func caseEngine(t *testing.T) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	macros, err := queries.FS.ReadFile("macros.sql")
	if err != nil {
		t.Fatal(err)
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Exec(ctx, "macros.sql", string(macros)); err != nil {
		t.Fatal(err)
	}
	if err := e.Zone(ctx, london); err != nil {
		t.Fatal(err)
	}
	for _, table := range contract.Feeds() {
		if err := e.Load(ctx, table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	recordedAsCurrent(t, e)
	return e
}

// recordedAsCurrent makes the table recorded of a case, whose current rows are
// all that was ever accepted.
func recordedAsCurrent(t *testing.T, e *engine.Engine) {
	t.Helper()
	text, err := queries.FS.ReadFile("1-current/recorded.sql")
	if err != nil {
		t.Fatal(err)
	}
	q, err := ParseQuery("queries/1-current/recorded.sql", string(text))
	if err == nil {
		err = e.Exec(context.Background(), "recorded", "CREATE OR REPLACE VIEW source_events AS SELECT * FROM events; CREATE OR REPLACE VIEW source_medicines AS SELECT * FROM medicines;")
	}
	if err == nil {
		err = Run(context.Background(), e, []*Query{q}, "recorded")
	}
	if err != nil {
		t.Fatal(err)
	}
}
