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
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
)

// record is one row of a small hospital, invented its tables.
type (
	record   map[string]string
	invented map[string][]record
)

// inventor draws a small hospital full of edges: times on a grid of half hours,
// values on the limits, a good part of the facts missing.
type inventor struct {
	*rand.Rand
	tables invented
	prefix string
}

// propertyStart is the first day that a small hospital knows.
var propertyStart = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// coveredMonths are those in which the feeds of bleeding and medicines have rows
// of a patient without plasma: the others show nothing.
var coveredMonths = []time.Month{2, 3, 4, 5, 6, 7, 8, 9}

func pick[T any](v *inventor, from ...T) T { return from[v.IntN(len(from))] }

func (v *inventor) chance(share float64) bool { return v.Float64() < share }

func at(minute int) string {
	return propertyStart.Add(time.Duration(minute) * time.Minute).Format("2006-01-02 15:04:05")
}

func (v *inventor) add(table string, row record) {
	row["source_file"], row["source_row"] = v.prefix+table+".csv", fmt.Sprint(len(v.tables[table])+2)
	v.tables[table] = append(v.tables[table], row)
}

// near is a minute near another, mostly on the grid.
func (v *inventor) near(middle, before, after int) int {
	minute := middle - before + v.IntN(before+after+1)
	if v.chance(0.8) {
		minute -= minute % 30
	}
	return minute
}

func (v *inventor) issue(patient, component string, minute int, indication, volume string) {
	number := fmt.Sprintf("%sN%05d", v.prefix, len(v.tables["issues"]))
	code := map[string]string{"plasma": "F", "red_cells": "R"}[component]
	row := record{"unit_no": number, "product_code": code, "bag_code": code, "bag": number + "|" + code + "|", "is_batch": "false", "component": component,
		"patient_id": patient, "issued_at": at(minute), "issued_local": at(minute), "indication": indication, "volume_ml": volume, "nominal_ml": pick(v, "275", "275", ""),
		"fate": pick(v, "transfused", "transfused", "transfused", "transfused", "transfused", "presumed", "returned", "discarded", "unknown")}
	if component == "plasma" {
		row["product"] = "fresh_frozen"
	}
	if row["fate"] == "transfused" {
		row["started_at"], row["ended_at"] = pick(v, at(minute+10), at(minute+30), ""), pick(v, at(minute+60), at(minute+90), "")
		row["transfused_ml"] = pick(v, "", "", "", "100")
	}
	v.add("issues", row)
}

func (v *inventor) patient(number string) {
	t := v.IntN(300*24*60) + 20*24*60
	born := pick(v, "1950-03-01", "1950-03-01", "1981-07-09", "1999-12-31", "2014-05-05", "")
	if v.chance(0.05) {
		born = propertyStart.Add(time.Duration(t)*time.Minute).AddDate(0, 0, -pick(v, 3, 27, 29)).Format(time.DateOnly)
	}
	v.add("patients", record{"patient_id": number, "birth_date": born, "sex": pick(v, "F", "M", ""), "abo": pick(v, "A", "O", "")})
	told := pick(v, "", "bleeding", "procedure", "raised_inr", "other", "liver_disease", "anticoagulant_reversal", "factor_deficiency")
	for range pick(v, 1, 2, 2, 3, 4) {
		v.issue(number, "plasma", v.near(t, 0, 90), pick(v, told, told, told, ""), pick(v, "275", "250", "200", ""))
	}
	if v.chance(0.35) {
		for range pick(v, 1, 2, 3, 4) {
			v.issue(number, "red_cells", v.near(t, 400, 300), "", "")
		}
	}
	for minute := range v.times(0, 1, 1, 2) {
		v.add("measures", record{"patient_id": number, "kind": "weight", "measured_at": at(t - 60*minute - v.IntN(60)), "value": pick(v, "70", "80", "55", "110", "25", "3.2"), "method": pick(v, "measured", "stated")})
	}
	if v.chance(0.4) {
		v.add("measures", record{"patient_id": number, "kind": "height", "measured_at": at(t - 3000), "value": pick(v, "150", "165", "180"), "method": "measured"})
	}
	values := map[string][]string{"inr": {"1.2", "1.5", "1.6", "1.9", "2.6"}, "pt_ratio": {"1.2", "1.6", "2.1"}, "aptt_ratio": {"1.1", "1.6", "1.9"},
		"fibrinogen": {"0.9", "1.4", "2.2"}, "hb": {"65", "85", "105"}, "platelets": {"20", "150"}, "viscoelastic": {"60", "95"}}
	for _, test := range slices.Sorted(maps.Keys(values)) {
		for i := range v.times(0, 0, 1, 1, 2) {
			// A minute of its own: in the layer current a key stands once.
			minute := v.near(t, 1200, 500) + i
			v.add("labs", record{"patient_id": number, "test": test, "collected_at": at(minute), "resulted_at": pick(v, at(minute+40), ""), "value": pick(v, values[test]...),
				"bound": pick(v, "", "", "", "", "", "", "<", ">"), "point_of_care": "false", "status": "final"})
		}
	}
	for _, e := range []struct {
		kind   string
		share  float64
		detail []string
	}{{"bleeding", 0.25, []string{"major", "minor", ""}}, {"procedure", 0.35, []string{"high", "low", ""}}, {"activation", 0.04, []string{""}},
		{"diagnosis", 0.15, []string{"liver_disease", "ttp"}}, {"reaction", 0.15, []string{"allergic", "overload"}}} {
		if v.chance(e.share) {
			minute := v.near(t, 600, 400)
			v.add("events", record{"patient_id": number, "kind": e.kind, "detail": pick(v, e.detail...), "at": at(minute), "until": pick(v, "", at(minute+60))})
		}
	}
	for _, medicine := range []string{"vitamin_k_antagonist", "heparin", "prothrombin_complex"} {
		if v.chance(0.15) {
			v.add("medicines", record{"patient_id": number, "medicine": medicine, "given_at": at(v.near(t, 1200, 300))})
		}
	}
}

// times counts from nothing to one of the numbers.
func (v *inventor) times(from ...int) int { return pick(v, from...) }

// small invents a hospital of patients whose numbers begin with prefix. Whether
// feeds would have shown bleeding and medicines rests on a patient without plasma.
func small(seed uint64, prefix string, patients int) invented {
	v := &inventor{rand.New(rand.NewPCG(seed, 3)), invented{}, prefix}
	for i := range patients {
		v.patient(fmt.Sprintf("%s%03d", prefix, i))
	}
	for _, month := range coveredMonths {
		first := time.Date(2025, month, 1, 12, 0, 0, 0, time.UTC).Format("2006-01-02 15:04:05")
		v.add("events", record{"patient_id": prefix + "without plasma", "kind": "bleeding", "at": first})
		v.add("medicines", record{"patient_id": prefix + "without plasma", "medicine": "heparin", "given_at": first})
	}
	return v.tables
}

// keep is a hospital with those rows alone that a test keeps.
func (h invented) keep(stays func(table string, row record) bool) invented {
	out := invented{}
	for table, rows := range h {
		out[table] = slices.DeleteFunc(slices.Clone(rows), func(row record) bool { return !stays(table, row) })
	}
	return out
}

// without takes whole feeds away.
func (h invented) without(feeds ...string) invented {
	out := maps.Clone(h)
	for _, feed := range feeds {
		delete(out, feed)
	}
	return out
}

// change is a hospital with each row rewritten.
func (h invented) change(rewrite func(table string, row record)) invented {
	out := invented{}
	for table, rows := range h {
		for _, row := range rows {
			row = maps.Clone(row)
			rewrite(table, row)
			out[table] = append(out[table], row)
		}
	}
	return out
}

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

// against are the marks that speak against the clinician.
var against = []string{"non-bleeding", "unsupported", "under-dosed"}

// removal takes something away from what the store knows.
type removal struct {
	name   string
	stays  func(table string, row record) bool
	blank  func(table string, row record)
	feeds  []string
	never  []string
	lifted func(before, after record) bool
	// alone says that it also takes away whether feeds were kept at all.
	alone bool
}

// from is what is left of a hospital.
func (r removal) from(h invented) invented {
	less := h.without(r.feeds...)
	if r.stays != nil {
		less = less.keep(r.stays)
	}
	if r.blank != nil {
		less = less.change(r.blank)
	}
	return less
}

// removals take something away from what the store knows, and state what must
// then hold. never lists marks that rest on what was taken, and that no episode
// may have. lifted says of an episode, by its
// facts before and after, that the contract itself lets an undetermined one
// become a verdict: all other undetermined episodes must stay so.
var removals = []removal{
	// Section 3: without a weight the band is not known, and only factor
	// deficiency and bleeding look at it. Nothing is lifted.
	{name: "measures", feeds: []string{"measures"}, never: []string{"under-dosed"}},
	// Section 9: unsupported rests on a test, whether it shows or not. Section
	// 5: a fall of haemoglobin is evidence that goes with the tests.
	{name: "labs", feeds: []string{"labs"}, never: []string{"unsupported"},
		lifted: func(before, after record) bool {
			return strings.Contains(before["evidence"], "hb_fall") && after["basis"] != before["basis"]
		}},
	// Section 6: non-bleeding rests on a feed that would have shown bleeding.
	// Section 7: a test too old is only so for bleeding and procedures, and a
	// basis of another limit may be left. Section 8: stopped is told by a reaction.
	{name: "events", feeds: []string{"events"}, alone: true, never: []string{"non-bleeding"},
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || before["course"] == "stopped" || before["coagulopathy"] == "shown" && after["basis"] == "procedure"
		}},
	{name: "all bleeding rows", stays: func(table string, row record) bool { return row["kind"] != "bleeding" }, alone: true, never: []string{"non-bleeding"},
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || before["coagulopathy"] == "shown" && after["basis"] != before["basis"]
		}},
	// Section 8: another product is first choice where a medicine says so.
	// Section 7: an aPTT that was prolonged without heparin does not count once
	// it is not known whether there was any.
	{name: "medicines", feeds: []string{"medicines"}, alone: true,
		lifted: func(before, after record) bool {
			return after["alternative"] != before["alternative"] || before["shown_by"] == "aptt_ratio"
		}},
	// Section 3: without a birth date all are adults, without a sex none has an
	// ideal weight.
	{name: "patients", feeds: []string{"patients"},
		lifted: func(before, after record) bool {
			return before["population"] != "adult" || before["weight_basis_decides"] == "true"
		}},
	// Section 7: a criterion that is not known keeps the others from deciding
	// only where it is the viscoelastic one.
	{name: "viscoelastic", stays: noTest("viscoelastic"), lifted: func(before, after record) bool { return before["viscoelastic"] == "true" }},
	{name: "inr", stays: noTest("inr"), lifted: shownBy("inr")},
	{name: "pt_ratio", stays: noTest("pt_ratio"), lifted: shownBy("pt_ratio")},
	{name: "aptt_ratio", stays: noTest("aptt_ratio"), lifted: shownBy("aptt_ratio")},
	{name: "fibrinogen", stays: noTest("fibrinogen"), lifted: shownBy("fibrinogen")},
	{name: "platelets", stays: noTest("platelets")},
	// Section 5: red cells are evidence, and so part of the fall of haemoglobin.
	{name: "red cells", stays: func(table string, row record) bool { return row["component"] != "red_cells" },
		lifted: func(before, after record) bool { return after["basis"] != before["basis"] }},
	// Section 6: no bleeding and no procedure recorded is none found, where
	// bleeding would have been seen. Section 7: a sample before a procedure began
	// was too old, and a procedure has other limits.
	{name: "procedures", stays: noEvent("procedure"),
		lifted: func(before, after record) bool {
			return before["test_too_old"] == "true" || strings.HasPrefix(before["basis"], "procedure")
		}},
	{name: "indications", blank: func(table string, row record) { delete(row, "indication") },
		lifted: func(before, after record) bool {
			return after["basis"] != before["basis"] || after["alternative"] != before["alternative"]
		}},
	// Section 7: a sample before the first call was too old.
	{name: "activations", stays: noEvent("activation"), lifted: func(before, after record) bool { return before["test_too_old"] == "true" }},
	{name: "diagnoses", stays: noEvent("diagnosis")},
	{name: "reactions", stays: noEvent("reaction"), lifted: func(before, after record) bool { return before["course"] == "stopped" }},
}

func noEvent(kind string) func(string, record) bool {
	return func(table string, row record) bool { return table != "events" || row["kind"] != kind }
}

// turned are the facts that, not known, may not turn into what speaks against the
// clinician, each with what does.
var turned = map[string][]string{"basis": {"none_found", "procedure_low"}, "coagulopathy": {"not_shown"}, "dose_band": {"below"}}

func noTest(test string) func(string, record) bool {
	return func(table string, row record) bool { return table != "labs" || row["test"] != test }
}

// shownBy says that a criterion which held is gone: another result may then
// decide, or fibrinogen stand alone.
func shownBy(test string) func(record, record) bool {
	return func(before, after record) bool { return slices.Contains(strings.Fields(before["shown_by"]), test) }
}

// TestLessIsNeverHeldAgainstTheClinician takes feeds, tests and evidence away.
// An episode that is undetermined stays so, but for the cases which the contract
// names and which removals lists; and no mark is given that rests on what is gone.
func TestLessIsNeverHeldAgainstTheClinician(t *testing.T) {
	undetermined, judgedAgainst, lifted := 0, map[string]int{}, map[string]int{}
	stocked := with(t, [2]string{"concentrate_stocked", "yes"}, [2]string{"fibrinogen_source_stocked", "yes"})
	for seed := range propertySeeds() {
		for name, p := range map[string]*policy.Policy{"the default policy": policy.Default(), "other products stocked": stocked} {
			h := small(seed, "P", propertyPatients)
			// Patients are judged each for themselves, so that one run holds what
			// is left of them after each removal, under numbers of their own; a
			// removal that leaves feeds empty has a run of its own.
			joined := maps.Clone(h)
			for i, removal := range removals {
				if removal.alone {
					continue
				}
				for table, rows := range removal.from(h).change(func(table string, row record) { row["patient_id"] = fmt.Sprintf("%d|%s", i, row["patient_id"]) }) {
					joined[table] = append(slices.Clone(joined[table]), rows...)
				}
			}
			all := propertyFacts(t, propertyRun{policy: p}.over(t, joined))
			before := map[string]record{}
			for id, facts := range all {
				if strings.HasPrefix(id, "P") {
					before[id] = facts
					judgedAgainst[facts["mark"]]++
					if facts["mark"] == "undetermined" {
						undetermined++
					}
				}
			}
			for i, removal := range removals {
				after, prefix := all, fmt.Sprintf("%d|", i)
				if removal.alone {
					after, prefix = propertyFacts(t, propertyRun{policy: p}.over(t, removal.from(h))), ""
				}
				what := fmt.Sprintf("seed %d, %s, without %s", seed, name, removal.name)
				for id, b := range before {
					a := after[prefix+id]
					if a == nil {
						t.Fatalf("%s: an episode is gone", what)
					}
					if slices.Contains(removal.never, a["mark"]) {
						t.Errorf("%s: an episode is %s\nbefore %v\nafter  %v", what, a["mark"], b, a)
					}
					for fact, bad := range turned {
						if fact == "coagulopathy" && strings.HasPrefix(a["basis"], "procedure") != strings.HasPrefix(b["basis"], "procedure") {
							continue // Section 7: another basis has another limit, which a bound may decide.
						}
						if b[fact] == "not_known" && slices.Contains(bad, a[fact]) && (removal.lifted == nil || !removal.lifted(b, a)) {
							t.Errorf("%s: %s was not known and becomes %s\nbefore %v\nafter  %v", what, fact, a[fact], b, a)
						}
					}
					if b["mark"] != "undetermined" || !slices.Contains(against, a["mark"]) {
						continue
					}
					if removal.lifted == nil || !removal.lifted(b, a) {
						t.Errorf("%s: undetermined becomes %s\nbefore %v\nafter  %v", what, a["mark"], b, a)
						continue
					}
					lifted[removal.name+": undetermined → "+a["mark"]]++
				}
			}
		}
	}
	if undetermined == 0 {
		t.Error("no episode is undetermined: the test proves nothing")
	}
	for _, mark := range against {
		if judgedAgainst[mark] == 0 {
			t.Errorf("no episode is %s: the test proves nothing of it", mark)
		}
	}
	for _, what := range slices.Sorted(maps.Keys(lifted)) {
		t.Logf("lifted by the contract itself, without %s: %d", what, lifted[what])
	}
}
