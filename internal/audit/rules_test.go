package audit

import (
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

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
//
// Cases that do not bear on each other are judged together, each rule's patients
// and units under numbers of their own.
func TestRules(t *testing.T) {
	named, all := ruleHospitals(t)
	eachJudged(t, all, EpisodeTables, func(e *engine.Engine, h smallHospital) {
		t.Run(h.name, func(t *testing.T) { ruleCase(t, e, named[h.name], h) })
	})
}

// ruleHospitals reads the cases of every rule.
func ruleHospitals(t *testing.T) (named map[string]*Query, all []smallHospital) {
	t.Helper()
	rules, err := Rules()
	if err != nil {
		t.Fatal(err)
	}
	named = map[string]*Query{}
	for _, rule := range rules {
		archive, err := txtar.ParseFile(filepath.Join("testdata", "rules", rule.Name+".txtar"))
		if err != nil {
			t.Fatalf("every rule has its cases: %v", err)
		}
		h := smallHospital{name: rule.Name, tables: map[string]string{}}
		for _, part := range archive.Files {
			switch text := strings.TrimSpace(string(part.Data)); part.Name {
			case "want":
				h.want = text
			case "policy":
				h.settings = strings.Split(text, "\n")
			default:
				h.tables[strings.TrimSuffix(part.Name, ".csv")] = text
			}
		}
		named[rule.Name] = rule
		all = append(all, h)
	}
	return named, all
}

// smallHospital is a case: its tables as text, its settings, and what it wants.
type smallHospital struct {
	name, want string
	settings   []string
	tables     map[string]string
	// feeds tells cases apart that may not be judged together for their feeds.
	feeds string
	// prefix tells its patients and units from those of its group.
	prefix string
}

// together puts cases into groups that may be judged in one run: the same
// settings, and the same days on which bleeding and medicines were recorded at
// all. Nothing else of one patient bears on another.
func together(t *testing.T, all []smallHospital) [][]smallHospital {
	t.Helper()
	var groups [][]smallHospital
	place := map[string]int{}
	for _, h := range all {
		key := fmt.Sprint(h.settings, h.feeds, h.days(t, "events", "at", "kind", "bleeding"), h.days(t, "medicines", "given_at", "", ""))
		if strings.Contains(h.want, "episode_id=") {
			key = h.name // Its numbers are a part of the answer.
		}
		at, found := place[key]
		if !found {
			at = len(groups)
			place[key] = at
			groups = append(groups, nil)
		}
		groups[at] = append(groups[at], h)
	}
	for _, group := range groups {
		for i := range group {
			if len(group) > 1 {
				group[i].prefix = fmt.Sprintf("%02d~", i)
			}
		}
	}
	return groups
}

// eachJudged makes the tables of the cases, those together that may be, and hands
// each case to use with the engine that holds them.
func eachJudged(t *testing.T, all []smallHospital, tables func(context.Context, *engine.Engine, Given) error, use func(*engine.Engine, smallHospital)) {
	t.Helper()
	for _, group := range together(t, all) {
		e := caseEngine(t)
		for _, h := range group {
			h.fill(t, e)
		}
		if err := tables(context.Background(), e, group[0].given(t)); err != nil {
			t.Fatal(err)
		}
		for _, h := range group {
			use(e, h)
		}
	}
}

// days lists the days of a table's rows, those of one kind where a column says so.
func (h smallHospital) days(t *testing.T, table, at, column, kind string) []string {
	t.Helper()
	if h.tables[table] == "" {
		return nil
	}
	rows, err := csv.NewReader(strings.NewReader(h.tables[table])).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var days []string
	for _, row := range rows[1:] {
		if column == "" || row[slices.Index(rows[0], column)] == kind {
			days = append(days, row[slices.Index(rows[0], at)][:len("2025-03-10")])
		}
	}
	slices.Sort(days)
	return slices.Compact(days)
}

// given is what the case's settings and feeds give to the marks.
func (h smallHospital) given(t *testing.T) Given {
	t.Helper()
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	for name := range h.tables {
		given.Present[name] = true
	}
	for _, setting := range h.settings {
		key, value, _ := strings.Cut(setting, "=")
		if key == "controlled_storage" {
			given.ControlledStorage = append(given.ControlledStorage, value)
		} else if err := given.Policy.Set(key, value); err != nil {
			t.Fatal(err)
		}
	}
	return given
}

// fill puts the case's rows into an engine.
func (h smallHospital) fill(t *testing.T, e *engine.Engine) {
	t.Helper()
	for name, text := range h.tables {
		rows, err := csv.NewReader(strings.NewReader(withDefaults(name, text))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, column := range rows[0] {
			if column != "patient_id" && column != "unit_no" && column != "bag" && column != "activation_id" {
				continue
			}
			for _, row := range rows[1:] {
				if row[i] != "" && row[i] != "X" {
					row[i] = h.prefix + row[i]
				}
			}
		}
		insertRows(t, e, name, rows[0], rows[1:])
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

func ruleCase(t *testing.T, e *engine.Engine, rule *Query, h smallHospital) {
	got, want := ruleAnswers(t, e, rule, h)
	for _, result := range []string{"fired", "clear", "not_known"} {
		if !slices.Equal(got[result], want[result]) {
			t.Errorf("%s: got %v, want %v", result, got[result], want[result])
		}
	}
}

// shared is the engine of all cases: to start one, and to give it the clock's
// tables, takes longer than most cases. TestMain closes it.
var shared *engine.Engine

// caseEngine is an engine with the macros, the clock of London and every current
// table, empty. It is shared: a test has it until it ends, and what MarkTables
// makes is made anew by the next.
func caseEngine(t *testing.T) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	if shared == nil {
		e, err := engine.Open(ctx, engine.Options{})
		if err != nil {
			t.Fatal(err)
		}
		shared = e
		withClock(t, shared)
	}
	for _, table := range contract.Feeds() {
		if err := shared.Load(ctx, table.Name, table.Columns, nil); err != nil {
			t.Fatal(err)
		}
	}
	recordedAsCurrent(t, shared)
	return shared
}

func TestMain(m *testing.M) {
	code := m.Run()
	if shared != nil {
		shared.Close()
	}
	os.Exit(code)
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
