package audit

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/internal/policy"
)

// TestOutside holds marks, facts and findings against published statements, as
// testdata/outside tells them: a file a subject, a heading a publication, a
// statement of it, and patients in words with what must be found in them. The
// README there says the form. A statement without a patient fails, unless it
// says why none can show it.
func TestOutside(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "outside", "*.txt"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no published statements (%v)", err)
	}
	cases := 0
	byPolicy := map[string][]outsideCase{}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range statements(t, filepath.Base(file), string(text)) {
			byPolicy[c.policy] = append(byPolicy[c.policy], c)
			cases++
		}
	}
	for settings, group := range byPolicy {
		judgeOutside(t, settings, group)
	}
	t.Logf("%d patients in words", cases)
}

// outsideCase is one patient in words.
type outsideCase struct {
	place                     string
	source, statement, policy string
	patient                   string
	wants                     []string
	id                        string
}

// statements reads a file. See testdata/outside/README.md.
func statements(t *testing.T, file, text string) []outsideCase {
	t.Helper()
	var all []outsideCase
	var now outsideCase
	open := "" // what still waits for a patient
	for i, line := range strings.Split(text, "\n") {
		fault := func(format string, values ...any) { t.Fatalf("%s:%d: %s", file, i+1, fmt.Sprintf(format, values...)) }
		line = strings.TrimSpace(line)
		kind, rest, _ := strings.Cut(line, " ")
		switch {
		case line == "" || strings.HasPrefix(line, "//"):
		case kind == "#":
			if open != "" {
				fault("%q has no patient", open)
			}
			now = outsideCase{source: rest}
		case kind == ">", kind == "!":
			if open != "" && kind == ">" {
				fault("%q has no patient", open)
			}
			if now.source == "" {
				fault("a statement without a publication")
			}
			if kind == ">" {
				now.policy = ""
			}
			now.statement, open = rest, rest
		case kind == "-":
			if open == "" || rest == "" {
				fault("a reason why nothing can show it stands after its statement")
			}
			open = ""
		case kind == "policy":
			now.policy = strings.TrimSpace(rest)
			if now.policy == "default" {
				now.policy = ""
			}
		default:
			patient, wants, found := strings.Cut(line, " -> ")
			if !found || now.statement == "" {
				fault("wanted: PATIENT IN WORDS -> WHAT MUST BE FOUND, after a statement")
			}
			c := now
			c.place, c.patient = fmt.Sprintf("%s:%d", file, i+1), patient
			for _, want := range strings.Split(wants, ",") {
				c.wants = append(c.wants, strings.TrimSpace(want))
			}
			all, open = append(all, c), ""
		}
	}
	if open != "" {
		t.Fatalf("%s: %q has no patient", file, open)
	}
	return all
}

// judgeOutside judges the patients of one policy together.
func judgeOutside(t *testing.T, settings string, group []outsideCase) {
	t.Helper()
	ctx := context.Background()
	e := caseEngine(t)
	given := Given{Policy: policy.Default(), Present: map[string]bool{}}
	for _, setting := range strings.Fields(settings) {
		name, value, _ := strings.Cut(setting, "=")
		if err := given.Policy.Set(name, strings.ReplaceAll(value, "_", " ")); err != nil {
			t.Fatalf("%s: %v", setting, err)
		}
	}
	h := newHospital()
	h.tables["issues"] = []string{"unit_no,patient_id,component,product,issued_at,started_at,ended_at,volume_ml,indication,unit_abo"}
	h.tables["labs"] = []string{"patient_id,test,value,bound,collected_at,resulted_at"}
	h.tables["measures"] = []string{"patient_id,kind,value,measured_at"}
	h.tables["patients"] = []string{"patient_id,birth_date,sex,abo"}
	for i := range group {
		group[i].id = fmt.Sprintf("L%d", i)
		if err := told(h, group[i].id, group[i].patient); err != nil {
			t.Fatalf("%s: %v", group[i].place, err)
		}
	}
	for table, lines := range h.tables {
		given.Present[table] = true
		insert(t, e, table, withDefaults(table, strings.Join(lines, "\n")))
	}
	if err := MarkTables(ctx, e, given); err != nil {
		t.Fatal(err)
	}
	fired := firedByPatient(t, given, group)
	names, rows, err := e.Rows(ctx, "outside", "SELECT * FROM episodes")
	if err != nil {
		t.Fatal(err)
	}
	episodes := map[string]map[string]any{}
	for _, row := range rows {
		episode := map[string]any{}
		for i, name := range names {
			episode[name] = row[i]
		}
		id := fmt.Sprint(episode["patient_id"])
		if episodes[id] != nil {
			t.Fatalf("%s: two episodes of one patient", id)
		}
		episodes[id] = episode
	}
	for _, c := range group {
		for _, want := range c.wants {
			if got := missed(want, episodes[c.id], fired[c.id]); got != "" {
				t.Errorf("%s (%s: %s)\n%s\nwant %s, got %s", c.place, c.source, c.statement, c.patient, want, got)
			}
		}
	}
}

// firedByPatient runs the rules that the cases ask for over the marked tables.
func firedByPatient(t *testing.T, given Given, group []outsideCase) map[string][]string {
	t.Helper()
	ctx := context.Background()
	rules, err := Rules()
	if err != nil {
		t.Fatal(err)
	}
	asked := map[string]bool{}
	for _, c := range group {
		for _, want := range c.wants {
			if _, name, found := strings.Cut(want, "finding "); found {
				asked[name] = true
			}
		}
	}
	fired := map[string][]string{}
	for _, rule := range rules {
		if !asked[rule.Name] {
			continue
		}
		delete(asked, rule.Name)
		if why := missing(rule, given); why != "" {
			t.Fatalf("%s is not run: %s", rule.Name, why)
		}
		if err := Run(ctx, shared, []*Query{rule}); err != nil {
			t.Fatal(err)
		}
		shown := "split_part(split_part(key, '|', 1), '-', 1)"
		if rule.Header["of"] == "episode" {
			shown = "(SELECT episodes.patient_id FROM episodes WHERE episodes.episode_id = key)"
		}
		_, rows, err := shared.Rows(ctx, rule.Path, "SELECT DISTINCT "+shown+" AS id FROM "+`"`+rule.Name+`"`+" WHERE result = 'fired'")
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows {
			fired[fmt.Sprint(row[0])] = append(fired[fmt.Sprint(row[0])], rule.Name)
		}
	}
	for name := range asked {
		t.Fatalf("there is no finding %s", name)
	}
	return fired
}

// missed says what was found where it is not what was wanted: a mark, "finding
// NAME", "no finding NAME", or a column of episodes and its value.
func missed(want string, episode map[string]any, fired []string) string {
	if episode == nil {
		return "no episode"
	}
	name, value, more := strings.Cut(want, " ")
	switch {
	case !more:
		name, value = "mark", want
	case name == "finding":
		if !slices.Contains(fired, value) {
			return fmt.Sprint(fired)
		}
		return ""
	case strings.HasPrefix(want, "no finding "):
		if slices.Contains(fired, strings.TrimPrefix(want, "no finding ")) {
			return fmt.Sprint(fired)
		}
		return ""
	}
	got, there := episode[name]
	if !there {
		return "no column " + name
	}
	text := "none"
	if got != nil {
		text = fmt.Sprint(got)
	}
	if text == value {
		return ""
	}
	wanted, err := strconv.ParseFloat(value, 64)
	found, err2 := strconv.ParseFloat(text, 64)
	// To as many places as are told.
	_, places, _ := strings.Cut(value, ".")
	if err == nil && err2 == nil && math.Abs(wanted-found) <= 0.5*math.Pow10(-len(places))*1.000001 {
		return ""
	}
	return name + " " + text + " (mark " + fmt.Sprint(episode["mark"]) + ", row " + fmt.Sprint(episode["mark_row"]) + ")"
}

// The plasma of a patient in words: issued at 10:00, begun at 10:10.
var (
	outsideIssue = time.Date(2025, time.March, 10, 10, 0, 0, 0, time.UTC)
	outsideBegin = outsideIssue.Add(10 * time.Minute)
)

func outsideAt(t time.Time) string { return t.Format("2006-01-02T15:04Z") }

// inWords are the words that tell of a patient, each with what it adds.
var inWords = []struct {
	words *regexp.Regexp
	add   func(p *inWord, m []string)
}{
	{regexp.MustCompile(`^bleeds( a little)?$`), func(p *inWord, m []string) {
		detail := "major"
		if m[1] != "" {
			detail = "minor"
		}
		p.h.add("events", "%s,bleeding,%s,2025-03-10T08:00Z", p.id, detail)
	}},
	{regexp.MustCompile(`^(INR|PT ratio|aPTT ratio|fibrinogen|viscoelastic) ([<>]?)([\d.]+)$`), func(p *inWord, m []string) {
		p.result(m[1], m[2], m[3], outsideBegin.Add(-70*time.Minute))
	}},
	{regexp.MustCompile(`^then (INR|PT ratio) ([\d.]+)$`), func(p *inWord, m []string) {
		p.later = append(p.later, func(end time.Time) { p.result(m[1], "", m[2], end.Add(2*time.Hour)) })
	}},
	{regexp.MustCompile(`^Hb (\d+) then (\d+)( after the plasma)?$`), func(p *inWord, m []string) {
		p.result("hb", "", m[1], outsideBegin.Add(-5*time.Hour))
		if m[3] == "" {
			p.result("hb", "", m[2], outsideBegin.Add(-time.Hour))
			return
		}
		p.later = append(p.later, func(end time.Time) { p.result("hb", "", m[2], end.Add(time.Hour)) })
	}},
	{regexp.MustCompile(`^(high-risk |low-risk )?procedure$`), func(p *inWord, m []string) {
		p.h.add("events", "%s,procedure,%s,2025-03-10T15:00Z", p.id, strings.TrimSuffix(m[1], "-risk "))
	}},
	{regexp.MustCompile(`^(liver disease|heart failure|renal failure|DIC|TTP)$`), func(p *inWord, m []string) {
		p.h.add("events", "%s,diagnosis,%s,2025-03-08T08:00Z", p.id, strings.ToLower(strings.ReplaceAll(m[1], " ", "_")))
	}},
	{regexp.MustCompile(`^(warfarin|heparin|anticoagulant tablet)$`), func(p *inWord, m []string) {
		medicine := map[string]string{"warfarin": "vitamin_k_antagonist", "heparin": "heparin", "anticoagulant tablet": "direct_oral_anticoagulant"}[m[1]]
		p.h.add("medicines", "%s,%s,2025-03-10T04:00Z", p.id, medicine)
	}},
	{regexp.MustCompile(`^concentrate given$`), func(p *inWord, m []string) {
		p.h.add("medicines", "%s,prothrombin_complex,2025-03-10T09:50Z", p.id)
	}},
	{regexp.MustCompile(`^asked for (\w+)$`), func(p *inWord, m []string) { p.indication = m[1] }},
	{regexp.MustCompile(`^(major haemorrhage called|exchange)$`), func(p *inWord, m []string) {
		kind := map[string]string{"major haemorrhage called": "activation", "exchange": "exchange"}[m[1]]
		p.h.add("events", "%s,%s,,%s", p.id, kind, outsideAt(outsideBegin))
	}},
	{regexp.MustCompile(`^(\d+) bags?(?: of ([\d.]+) mL)?(?: in (\d+) min each)?$`), func(p *inWord, m []string) {
		p.bags, _ = strconv.Atoi(m[1])
		if m[2] != "" {
			p.ml = m[2]
		}
		if m[3] != "" {
			minutes, _ := strconv.Atoi(m[3])
			p.each = time.Duration(minutes) * time.Minute
		}
	}},
	// Evenly in time, the last when the plasma begins.
	{regexp.MustCompile(`^(\d+) red cells in (\d+) h(?: (\d+) min)?$`), func(p *inWord, m []string) {
		n, _ := strconv.Atoi(m[1])
		hours, _ := strconv.Atoi(m[2])
		minutes, _ := strconv.Atoi(m[3])
		whole := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
		for i := range n {
			p.redCell(outsideBegin.Add(-whole * time.Duration(n-1-i) / time.Duration(n-1)))
		}
	}},
	{regexp.MustCompile(`^1 red cell between$`), func(p *inWord, m []string) { p.redCell(outsideBegin.Add(-3 * time.Hour)) }},
	{regexp.MustCompile(`^(overload|lung_injury|allergic) (?:(\d+) h(?: (\d+) min)? after|during)$`), func(p *inWord, m []string) {
		p.later = append(p.later, func(end time.Time) {
			at := outsideBegin.Add(time.Minute)
			if m[2] != "" {
				hours, _ := strconv.Atoi(m[2])
				minutes, _ := strconv.Atoi(m[3])
				at = end.Add(time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute)
			}
			p.h.add("events", "%s,reaction,%s,%s", p.id, m[1], outsideAt(at))
		})
	}},
	{regexp.MustCompile(`^([\d.]+) kg$`), func(p *inWord, m []string) { p.kg = m[1] }},
	{regexp.MustCompile(`^([\d.]+) cm$`), func(p *inWord, m []string) {
		p.h.add("measures", "%s,height,%s,2025-03-09T08:00Z", p.id, m[1])
	}},
	{regexp.MustCompile(`^(man|woman)$`), func(p *inWord, m []string) { p.sex = map[string]string{"man": "M", "woman": "F"}[m[1]] }},
	{regexp.MustCompile(`^aged (\d+)$`), func(p *inWord, m []string) {
		years, _ := strconv.Atoi(m[1])
		p.born = time.Date(2025-years, time.March, 10, 0, 0, 0, 0, time.UTC)
	}},
	{regexp.MustCompile(`^(\d+) days old$`), func(p *inWord, m []string) {
		days, _ := strconv.Atoi(m[1])
		p.born = outsideIssue.AddDate(0, 0, -days)
	}},
}

// inWord is a patient in the making.
type inWord struct {
	h               *hospital
	id, kg, ml, sex string
	indication      string
	bags, redCells  int
	each            time.Duration
	born            time.Time
	later           []func(end time.Time)
}

func (p *inWord) result(test, bound, value string, at time.Time) {
	column := map[string]string{"INR": "inr", "PT ratio": "pt_ratio", "aPTT ratio": "aptt_ratio"}[test]
	if column == "" {
		column = test
	}
	p.h.add("labs", "%s,%s,%s,%s,%s,%s", p.id, column, value, bound, outsideAt(at), outsideAt(at.Add(20*time.Minute)))
}

func (p *inWord) redCell(at time.Time) {
	p.redCells++
	p.h.add("issues", "%s-R%d,%s,red_cells,,%s,%s,%s,280,other,A", p.id, p.redCells, p.id, outsideAt(at), outsideAt(at), outsideAt(at.Add(30*time.Minute)))
}

// told adds a patient in words to the hospital: a woman of 55 years and 70 kg,
// group A, unless the words say otherwise; bags of 275 mL, one after another,
// each over 50 min.
func told(h *hospital, id, words string) error {
	p := &inWord{h: h, id: id, kg: "70", ml: "275", sex: "F", indication: "other", each: 50 * time.Minute, born: time.Date(1970, time.January, 1, 0, 0, 0, 0, time.UTC)}
	for _, phrase := range strings.Split(words, ";") {
		phrase = strings.TrimSpace(phrase)
		known := false
		for _, w := range inWords {
			if m := w.words.FindStringSubmatch(phrase); m != nil {
				w.add(p, m)
				known = true
				break
			}
		}
		if !known {
			return fmt.Errorf("%q is in no words", phrase)
		}
	}
	if p.bags == 0 {
		return fmt.Errorf("%q tells of no bags", words)
	}
	begin := outsideBegin
	for i := range p.bags {
		end := begin.Add(p.each)
		h.add("issues", "%s-%d,%s,plasma,fresh_frozen,%s,%s,%s,%s,%s,A", id, i+1, id, outsideAt(outsideIssue), outsideAt(begin), outsideAt(end), p.ml, p.indication)
		begin = end
	}
	for _, add := range p.later {
		add(begin)
	}
	h.add("patients", "%s,%s,%s,A", id, p.born.Format(time.DateOnly), p.sex)
	h.add("measures", "%s,weight,%s,2025-03-09T08:00Z", id, p.kg)
	return nil
}
