package figure

import (
	"strings"
	"testing"
)

// parsed is a figure made up for a test.
func parsed(t *testing.T, text string) *Definition {
	t.Helper()
	d, err := Parse("a.sql", text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// TestHiddenRowsTellNoOrder: rows that stand the commonest first would tell between
// which counts a hidden one lies.
func TestHiddenRowsTellNoOrder(t *testing.T) {
	text := `-- a: Why?
--
-- reads:     episodes
-- points:    kind: label; Kind
--            because: label; Because
--            episodes: count; Episodes
-- answer:    n: count; N
-- means:     episodes: alone, invented
-- order:     episodes within kind
SELECT 1
-- answer
SELECT 2
`
	d := parsed(t, text)
	f := &Figure{Definition: d, Values: map[string]Cell{"n": {Value: int64(0)}}}
	for _, row := range []struct {
		kind, because string
		episodes      int64
	}{{"x", "some", 4}, {"x", "yet fewer", 4}, {"x", "few", 3}, {"x", "none", 0}, {"y", "few", 2}, {"y", "no", 0}, {"z", "a", 3}, {"z", "many", 0}} {
		f.Rows = append(f.Rows, []Cell{{Value: row.kind}, {Value: row.because}, {Value: row.episodes}})
	}
	Together([]*Figure{f}, &Atoms{}, 5)
	var order []string
	for _, row := range f.Rows {
		order = append(order, row[0].Value.(string)+" "+row[1].Value.(string))
	}
	if got, want := strings.Join(order, ", "), "x few, x some, x yet fewer, x none, y few, y no, z a, z many"; got != want {
		t.Errorf("rows stand as %s, wanted %s", got, want)
	}
	for line, wanted := range map[string]string{"order:     kind": "is no count", "order:     episodes within n": "is no label"} {
		if _, err := Parse("a.sql", strings.Replace(text, "order:     episodes within kind", line, 1)); err == nil || !strings.Contains(err.Error(), wanted) {
			t.Errorf("%q: wanted an error with %q, got %v", line, wanted, err)
		}
	}
}

// TestUntoldCounts names the counts of which a figure does not say what they count.
func TestUntoldCounts(t *testing.T) {
	text := `-- a: Why?
--
-- reads:     episodes
-- points:    month: month; Month
--            n: count; N
--            m: count; M
--            bags: units; Bags
-- answer:    n: count; N
--            of: count; Of
-- means:     n: month
--            answer n: alone, it counts days
SELECT 1
-- answer
SELECT 2
`
	d := parsed(t, text)
	if got := strings.Join(d.Untold(), ", "); got != "m, answer of" {
		t.Errorf("untold: %s, wanted m and answer of", got)
	}
	if d.explained() {
		t.Error("the figure explains its points, although it says nothing of m")
	}
}
