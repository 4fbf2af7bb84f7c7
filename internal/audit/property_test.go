package audit

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// propertyRun marks a hospital; after loads, before the queries run, prepare may
// change the small tables.
type propertyRun struct {
	threads int
	policy  *policy.Policy
	rules   bool
	prepare string
}

func (r propertyRun) over(t *testing.T, h invented) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	e := caseEngine(t)
	if r.threads > 0 {
		setThreads(t, e, r.threads)
		defer setThreads(t, e, 2)
	}
	given := Given{Policy: r.policy, Present: map[string]bool{}}
	if given.Policy == nil {
		given.Policy = policy.Default()
	}
	for _, table := range contract.Feeds() {
		rows := h[table.Name]
		given.Present[table.Name] = rows != nil
		names := map[string]bool{}
		for _, row := range rows {
			for name := range row {
				names[name] = true
			}
		}
		cells := [][]string{slices.Sorted(maps.Keys(names))}
		for _, row := range rows {
			var line []string
			for _, name := range cells[0] {
				line = append(line, row[name])
			}
			cells = append(cells, line)
		}
		if len(rows) > 0 {
			fillTable(t, e, table, cells)
		}
	}
	if r.rules {
		if err := MarkTables(ctx, e, given); err != nil {
			t.Fatal(err)
		}
		return e
	}
	err := loadGiven(ctx, e, given)
	if err == nil {
		err = e.Exec(ctx, "prepare", r.prepare+"; SELECT 1")
	}
	var ordered []*Query
	if err == nil {
		ordered, err = markQueries()
	}
	if err == nil {
		err = runSteps(ctx, e, querySteps(ordered, markViews...))
	}
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func setThreads(t *testing.T, e *engine.Engine, threads int) {
	t.Helper()
	if err := e.Exec(context.Background(), "threads", fmt.Sprintf("SET threads = %d", threads)); err != nil {
		t.Fatal(err)
	}
}

// propertyFacts gives the facts of each episode that the properties speak of, by
// its patient and first issue.
func propertyFacts(t *testing.T, e *engine.Engine) map[string]record {
	t.Helper()
	names, rows, err := e.Rows(context.Background(), "facts", `
SELECT episodes.patient_id || ' ' || episodes.first_issued_at AS episode, episodes.outcome, episodes.population, episodes.basis, episodes.coagulopathy, coalesce(episodes.shown_by, '') AS shown_by,
    episodes.alternative, episodes.dose_band, episodes.course, episodes.mark, marked.test_too_old, doses.weight_basis_decides,
    (episodes.viscoelastic_before_at IS NOT NULL) AS viscoelastic,
    (SELECT string_agg(DISTINCT evidence.source, ' ' ORDER BY evidence.source) FROM evidence WHERE evidence.episode_id = episodes.episode_id) AS evidence
FROM episodes
INNER JOIN marked ON marked.episode_id = episodes.episode_id AND marked.lens = 'all'
INNER JOIN doses ON doses.episode_id = episodes.episode_id`)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]record{}
	for _, row := range rows {
		facts := record{}
		for i, name := range names {
			facts[name] = fmt.Sprint(row[i])
		}
		all[facts["episode"]] = facts
	}
	return all
}

// wholeTables writes every audit table out, the rows in their order.
func wholeTables(t *testing.T, e *engine.Engine, condition map[string]string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, table := range contract.Audit() {
		var names []string
		for _, c := range table.Columns {
			names = append(names, engine.Name(c.Name))
		}
		where := condition[table.Name]
		if condition != nil && where == "" {
			continue
		}
		if where == "" {
			where = "true"
		}
		_, rows, err := e.Rows(context.Background(), table.Name, fmt.Sprintf("SELECT %s FROM %s WHERE %s ORDER BY %s", strings.Join(names, ", "), table.Name, where, auditOrder[table]))
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		for _, row := range rows {
			fmt.Fprintln(&b, row...)
		}
		all[table.Name] = b.String()
	}
	return all
}

func sameTables(t *testing.T, what string, want, got map[string]string) {
	t.Helper()
	for name, text := range want {
		if got[name] == text {
			continue
		}
		a, b := strings.Split(text, "\n"), strings.Split(got[name], "\n")
		for i := range min(len(a), len(b)) {
			if a[i] != b[i] {
				t.Errorf("%s: %s differs in row %d:\n%s\n%s", what, name, i+1, a[i], b[i])
				break
			}
		}
		if len(a) != len(b) {
			t.Errorf("%s: %s has %d rows, then %d", what, name, len(a)-1, len(b)-1)
		}
	}
}

// propertyPatients sizes a small hospital.
const propertyPatients = 200

// propertySeeds counts the hospitals that a property is held against: one, or as
// many as THAWLINE_SOAK says.
func propertySeeds() uint64 {
	rounds, err := strconv.ParseUint(os.Getenv("THAWLINE_SOAK"), 10, 64)
	if err != nil {
		return 1
	}
	return rounds
}

// TestMarksDoNotDependOn what does not concern them: the order of rows, the
// number of threads, and the rows of other patients, so long as these leave the
// months alone in which bleeding and medicines are recorded at all.
func TestMarksDoNotDependOn(t *testing.T) {
	for seed := range propertySeeds() {
		h := small(seed, "P", propertyPatients)
		want := wholeTables(t, propertyRun{threads: 1, rules: true}.over(t, h), nil)
		sameTables(t, fmt.Sprintf("seed %d, four threads", seed), want, wholeTables(t, propertyRun{threads: 4, rules: true}.over(t, h), nil))
		shuffled, r := invented{}, rand.New(rand.NewPCG(seed, 4))
		for table, rows := range h {
			rows = slices.Clone(rows)
			r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
			shuffled[table] = rows
		}
		sameTables(t, fmt.Sprintf("seed %d, shuffled", seed), want, wholeTables(t, propertyRun{threads: 2, rules: true}.over(t, shuffled), nil))

		// Months of bleeding and of medicines stay as they were: of the others
		// only rows in the months that are covered anyway come along.
		joined := maps.Clone(h)
		months := map[string]map[string]bool{"events": {}, "medicines": {}}
		first, last := map[string]string{}, map[string]string{}
		moment := map[string]string{"events": "at", "medicines": "given_at"}
		for table := range months {
			for _, row := range h[table] {
				if table == "medicines" || row["kind"] == "bleeding" {
					when := row[moment[table]][:10]
					months[table][when[:7]] = true
					if first[table] == "" || when < first[table] {
						first[table] = when
					}
					last[table] = max(last[table], when)
				}
			}
		}
		for table, rows := range small(seed+1000, "Q", propertyPatients) {
			for _, row := range rows {
				if when := row[moment[table]]; (table == "medicines" || row["kind"] == "bleeding") && (!months[table][when[:7]] || when[:10] < first[table] || when[:10] > last[table]) {
					continue
				}
				joined[table] = append(slices.Clone(joined[table]), row)
			}
		}
		mine := map[string]string{"episodes": "patient_id LIKE 'P%'", "units": "unit_no LIKE 'P%'", "bags": "unit_no LIKE 'P%'",
			"evidence": "episode_id IN (SELECT episode_id FROM episodes WHERE patient_id LIKE 'P%')", "findings": "key LIKE 'PN%' OR episode_id IN (SELECT episode_id FROM episodes WHERE patient_id LIKE 'P%')"}
		alone := map[string]string{}
		for table := range mine {
			alone[table] = want[table]
		}
		sameTables(t, fmt.Sprintf("seed %d, other patients", seed), alone, wholeTables(t, propertyRun{threads: 2, rules: true}.over(t, joined), mine))
	}
}

// asSources loads a hospital as what files said: files gives the place in source
// order of each file that a row stands in. Where spoiled is given, it changes
// what the first of several files says of a row beside its key.
func asSources(t *testing.T, e *engine.Engine, h invented, files func() []int, spoiled func(table string, row record)) {
	t.Helper()
	ctx := context.Background()
	emptySources(t, e)
	orders := map[int]bool{}
	for _, table := range contract.Feeds() {
		columns := table.SourceColumns()
		header := []string{"reading_file"}
		for _, c := range columns {
			header = append(header, c.Name)
		}
		var rows [][]string
		places := map[int]int{}
		for _, truth := range h[table.Name] {
			told := files()
			for i, file := range told {
				row := truth
				if spoiled != nil && i == 0 && len(told) > 1 {
					row = maps.Clone(truth)
					spoiled(table.Name, row)
				}
				orders[file] = true
				places[file]++
				line := []string{fmt.Sprint(file)}
				for _, c := range columns {
					switch c.Name {
					case "source_file":
						line = append(line, fmt.Sprintf("f%d.csv", file))
					case "source_row":
						line = append(line, fmt.Sprint(places[file]+1))
					default:
						line = append(line, row[c.Name])
					}
				}
				rows = append(rows, line)
			}
		}
		insertRows(t, e, "source_"+table.Name, header, rows)
	}
	var readings [][]any
	for file := range orders {
		readings = append(readings, []any{fmt.Sprint(file), int64(file)})
	}
	if err := e.Load(ctx, "readings", readingColumns, readings); err != nil {
		t.Fatal(err)
	}
	ordered, err := currentQueries()
	if err == nil {
		err = resolve(ctx, e, ordered)
	}
	if err == nil {
		given := Given{Policy: policy.Default(), Present: map[string]bool{}}
		for table := range h {
			given.Present[table] = true
		}
		err = MarkTables(ctx, e, given)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// spoil tells a row wrongly, but for its key.
func spoil(r *rand.Rand) func(table string, row record) {
	wrong := map[string]map[string][]string{
		"issues":   {"volume_ml": {"", "111"}, "indication": {"", "bleeding", "plasma_exchange"}, "fate": {"unknown", "returned", "transfused"}, "started_at": {""}, "ended_at": {""}},
		"labs":     {"value": {"0.7", "9.9"}, "bound": {"", "<", ">"}, "resulted_at": {""}},
		"measures": {"value": {"44", "99"}},
		"patients": {"birth_date": {"", "2024-12-01"}, "abo": {"", "B"}, "sex": {"", "M"}},
		"events":   {"until": {""}},
	}
	return func(table string, row record) {
		for _, column := range slices.Sorted(maps.Keys(wrong[table])) {
			if _, there := row[column]; there && r.IntN(2) == 0 {
				values := wrong[table][column]
				row[column] = values[r.IntN(len(values))]
			}
		}
		// Of a diagnosis the detail is a part of the key.
		if table == "events" && row["kind"] == "bleeding" {
			row["detail"] = []string{"", "minor", "major"}[r.IntN(3)]
		}
	}
}

// TestMarksDoNotDependOnFiles: the same rows in one file, parted among several,
// or told again by some of them, give the same episodes, evidence and findings;
// and so do rows that an earlier file told wrongly and a later one tells right.
func TestMarksDoNotDependOnFiles(t *testing.T) {
	e := currentEngine(t, 2)
	for seed := range propertySeeds() {
		h, r := small(seed, "P", propertyPatients), rand.New(rand.NewPCG(seed, 5))
		marked := func(files func() []int, spoiled func(string, record)) map[string]string {
			asSources(t, e, h, files, spoiled)
			all := map[string]string{}
			for _, table := range contract.Audit() {
				var names []string
				for _, c := range table.Columns {
					// The place of a row is what files do change.
					if c.Name != "source_file" && c.Name != "source_row" {
						names = append(names, c.Name)
					}
				}
				lines := tableLines(t, e, table.Name, names)
				slices.Sort(lines)
				all[table.Name] = strings.Join(lines, "\n")
			}
			return all
		}
		want := marked(func() []int { return []int{1} }, nil)
		if strings.Count(want["episodes"], "\n") < propertyPatients/2 || strings.Count(want["findings"], "\n") < propertyPatients {
			t.Fatalf("%d episodes, %d findings: the test proves too little", strings.Count(want["episodes"], "\n"), strings.Count(want["findings"], "\n"))
		}
		for name, c := range map[string]struct {
			files   func() []int
			spoiled func(string, record)
		}{
			"parted among three":            {func() []int { return []int{1 + r.IntN(3)} }, nil},
			"told again by some":            {func() []int { return [][]int{{1}, {2}, {1, 2}, {2, 3}, {1, 2, 3}, {3, 1}}[r.IntN(6)] }, nil},
			"the whole file once more":      {func() []int { return []int{1, 2} }, nil},
			"a row twice in its file":       {func() []int { return [][]int{{1}, {1, 1}}[r.IntN(2)] }, nil},
			"corrected by a later file":     {func() []int { return [][]int{{2}, {1, 2}, {1, 3}, {2, 3}}[r.IntN(4)] }, spoil(r)},
			"corrected in the same file":    {func() []int { return [][]int{{1}, {1, 1}}[r.IntN(2)] }, spoil(r)},
			"corrected, and told so, twice": {func() []int { return [][]int{{1, 2, 3}, {1, 3, 3}}[r.IntN(2)] }, spoil(r)},
		} {
			sameTables(t, fmt.Sprintf("seed %d, %s", seed, name), want, marked(c.files, c.spoiled))
		}
	}
}

// TestBandsScale: millilitres and kilograms in another unit leave every band as it was. What is stated in these units besides
// goes along: the assumed unit and the bounds of belief. Ideal weight comes from
// height and does not, so heights are left out; nor does the newborn's unit of
// under 100 mL, so newborns are.
func TestBandsScale(t *testing.T) {
	for seed := range propertySeeds() {
		h := small(seed, "P", propertyPatients).keep(func(table string, row record) bool { return table != "measures" || row["kind"] == "weight" })
		before := propertyFacts(t, propertyRun{}.over(t, h))
		for _, factor := range []float64{0.5, 2, 3, 10} {
			scaled := h.change(func(table string, row record) {
				for _, name := range []string{"volume_ml", "nominal_ml", "transfused_ml", "value"} {
					if row[name] != "" && (table == "issues" || table == "measures") {
						var number float64
						fmt.Sscan(row[name], &number)
						row[name] = fmt.Sprint(number * factor)
					}
				}
			})
			prepare := fmt.Sprintf("UPDATE policy SET default_unit_ml = default_unit_ml * %[1]g; UPDATE weight_for_age SET low_kg = low_kg * %[1]g, high_kg = high_kg * %[1]g", factor)
			after := propertyFacts(t, propertyRun{prepare: prepare}.over(t, scaled))
			seen := map[string]int{}
			for id, b := range before {
				if b["population"] == "newborn" {
					continue
				}
				seen[b["dose_band"]]++
				if a := after[id]; a["dose_band"] != b["dose_band"] || a["mark"] != b["mark"] {
					t.Errorf("seed %d, times %g: %s becomes %s\n%v", seed, factor, b["dose_band"], a["dose_band"], b)
				}
			}
			if seen["below"] == 0 || seen["within"] == 0 || seen["not_known"] == 0 {
				t.Errorf("seed %d: bands %v: the test proves too little", seed, seen)
			}
		}
	}
}
