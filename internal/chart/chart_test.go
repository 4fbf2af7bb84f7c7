package chart

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"thawline/internal/figure"
)

func drawn(t *testing.T) *Renderer {
	t.Helper()
	r, err := New()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(r.Close)
	return r
}

// one draws for tests that ask nothing of the renderer itself; it is not let go.
var one = sync.OnceValues(New)

// drawnBy draws a figure and returns the drawing with the words around it.
func drawnBy(r *Renderer, f *figure.Figure, p figure.Panel, look Look) (string, error) {
	d, err := r.Draw(f, p, look)
	if err != nil {
		return "", err
	}
	text := d.SVG + d.Scale + "\n" + d.Over + "\n" + d.Under
	for _, sign := range d.Legend {
		text += "\n" + string(sign.Swatch) + sign.Name
	}
	return text, nil
}

func bar(label string) (*figure.Figure, figure.Panel) {
	f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "x", Kind: figure.Label, Title: "X"}, {Name: "n", Kind: figure.Count, Title: "N"}}}}
	f.Rows = [][]figure.Cell{{{Value: label}, {Value: int64(4711)}}, {{Value: "other"}, {Hidden: true}}}
	return f, figure.Panel{Figure: "t", Chart: "bars", X: "x", Y: []string{"n"}}
}

func TestHostileLabelStandsAsText(t *testing.T) {
	f, p := bar(`</text><script>alert(1)</script>__f__(function(){throw 1})()__f__<a href="x" onclick="y">`)
	svg, err := drawnBy(drawn(t), f, p, Look{ID: "a", Asks: `<b>"q"`, Says: "s"})
	if err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<script", "<a ", "<b>"} {
		if strings.Contains(svg, bad) {
			t.Errorf("the drawing holds %q", bad)
		}
	}
	if !strings.Contains(svg, "&lt;script&gt;") || !strings.Contains(svg, "4,711") {
		t.Error("the label or the number is not drawn as text")
	}
}

func TestDrawingIsTheSameEachTimeAndHasIdentifiersOfItsOwn(t *testing.T) {
	r := drawn(t)
	f, p := bar("a")
	one, err := drawnBy(r, f, p, Look{ID: "one"})
	if err != nil {
		t.Fatal(err)
	}
	again, err := drawnBy(r, f, p, Look{ID: "one"})
	if err != nil {
		t.Fatal(err)
	}
	other, err := drawnBy(r, f, p, Look{ID: "other"})
	if err != nil {
		t.Fatal(err)
	}
	if one != again {
		t.Error("two drawings of the same figure differ")
	}
	if strings.ReplaceAll(other, "other-", "one-") != one || one == other {
		t.Error("drawings differ by more than their identifiers")
	}
}

// Several charts are drawn at once: neither the order nor the neighbours may show
// in a drawing's bytes.
func TestDrawingDoesNotDependOnThoseBesideIt(t *testing.T) {
	type job struct {
		f *figure.Figure
		p figure.Panel
	}
	var jobs []job
	for _, kind := range []string{"bars", "stacked", "histogram", "lines"} {
		f, p := bar("label of " + kind)
		p.Chart, p.Unit = kind, kind
		jobs = append(jobs, job{f, p})
	}
	// Many series: each has a pattern of its own.
	f, p := bar("many")
	p.Chart, p.Y = "stacked", []string{"n", "n", "n", "n", "n", "n", "n"}
	jobs = append(jobs, job{f, p})
	alone := make([]string, len(jobs))
	for i, j := range jobs {
		var err error
		if alone[i], err = drawnBy(drawn(t), j.f, j.p, Look{ID: "x"}); err != nil {
			t.Fatal(err)
		}
	}
	// One machine, which has drawn others before.
	r, err := with(1)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for n := range 3 * len(jobs) {
		i := (n*2 + n/len(jobs)) % len(jobs)
		if svg, err := drawnBy(r, jobs[i].f, jobs[i].p, Look{ID: "x"}); err != nil || svg != alone[i] {
			t.Errorf("drawing %d of kind %s differs from the one alone (%v)", n, jobs[i].p.Chart, err)
		}
	}
	// Several machines at once.
	r = drawn(t)
	var wait sync.WaitGroup
	for n := range 8 {
		wait.Add(1)
		go func() {
			defer wait.Done()
			i := n * 3 % len(jobs)
			svg, err := drawnBy(r, jobs[i].f, jobs[i].p, Look{ID: "x"})
			if err != nil || svg != alone[i] {
				t.Errorf("drawing %d of kind %s differs from the one alone (%v)", n, jobs[i].p.Chart, err)
			}
		}()
	}
	wait.Wait()
}

// TestThinBars draws so many bars that each series is one shape: every bar has
// the height of its value, one that is hidden has none, and over it stands a column.
func TestThinBars(t *testing.T) {
	f := &figure.Figure{Definition: &figure.Definition{Name: "t", Points: []figure.Column{{Name: "x", Kind: figure.Month}, {Name: "n", Kind: figure.Count, Title: "N"}, {Name: "m", Kind: figure.Count, Title: "M"}}}}
	for i := range thinBars {
		row := []figure.Cell{{Value: fmt.Sprintf("%d-%02d", 2010+i/12, 1+i%12)}, {Value: int64(i + 1)}, {Value: int64(3)}}
		switch i {
		case 7:
			row[1] = figure.Cell{Hidden: true}
		case 9:
			row[1].Value = int64(0)
		}
		f.Rows = append(f.Rows, row)
	}
	svg, err := drawnBy(drawn(t), f, figure.Panel{Figure: "t", Chart: "stacked", X: "x", Y: []string{"n", "m"}}, Look{ID: "a", Open: "hidden"})
	if err != nil {
		t.Fatal(err)
	}
	heights := map[string][]float64{}
	for _, shape := range regexp.MustCompile(`<path d="(M[^"]*Z)" fill="(#[0-9A-Fa-f]{6})"`).FindAllStringSubmatch(svg, -1) {
		for _, one := range regexp.MustCompile(`l0 (-?[0-9.]+)l`).FindAllStringSubmatch(shape[1], -1) {
			h, err := strconv.ParseFloat(one[1], 64)
			if err != nil {
				t.Fatal(err)
			}
			heights[shape[2]] = append(heights[shape[2]], h)
		}
	}
	n, m := heights[hues[0]], heights[hues[1]]
	if len(n) != thinBars || len(m) != thinBars {
		t.Fatalf("drawn %d and %d bars, wanted %d of each", len(n), len(m), thinBars)
	}
	for i := range thinBars {
		want := float64(i + 1)
		if i == 7 || i == 9 {
			want = 0
		}
		if math.Abs(n[i]/m[i]*3-want) > 0.1 {
			t.Errorf("bar %d is %.1f high where 3 is %.1f: wanted %g", i, n[i], m[i], want)
		}
	}
	columns := heights[open["color"].(string)]
	if len(columns) != thinBars || columns[8] != 0 || math.Abs(columns[7]+m[7]-plotHeight) > 1 && math.Abs(columns[7]+m[7]+plotHeight) > 1 {
		t.Errorf("the hidden value has no column up to the top, or another has one: %v", columns)
	}
}

func TestForbiddenMarkupIsRefused(t *testing.T) {
	for _, bad := range []string{`<script>`, `<foreignObject>`, `<image href="x">`, `<g onload="x">`, `<rect fill="url(http://x)">`} {
		if _, err := finish(`<svg width="1">`+bad+`</svg>`, "a", "", "", 1, 1); err == nil {
			t.Errorf("%s is let through", bad)
		}
	}
}

// TestSuspectMissesNothing: what the quick look at a tag lets go without a search,
// the search would not have found.
func TestSuspectMissesNothing(t *testing.T) {
	pieces := []string{"<", "g", "path", "Script", "ſcript", "use", "set", " ", "\t", "=", "'", "\"", "href", "xlink:HREF", "on", "onload", "oNſ", "ONe", "url(", "URL( ", "#a", "x", ")", "javascript", "JavaſCript", ":", "/", "fill", "é", "-on"}
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		tag := "<" + strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 1, 12).Draw(t, "pieces"), "") + ">"
		if one := forbidden.FindString(tag); one != "" {
			found++
			if !suspect(tag) {
				t.Errorf("%q is let through, which holds %q", tag, one)
			}
		}
	})
	if found == 0 {
		t.Error("no tag held what is forbidden")
	}
	if suspect(`<path d="M1 2L3 4" fill="url(#a)">`) == suspect(`<path d="M1 2L3 4" transform="translate(1 2)" stroke-width="2" font-size="12">`) {
		t.Error("every tag is searched, or none")
	}
}

func TestWrongLibraryIsRefused(t *testing.T) {
	t.Setenv("THAWLINE_ECHARTS", "chart_test.go")
	if _, err := New(); err == nil || !strings.Contains(err.Error(), "SHA-256") {
		t.Errorf("another file as the library: %v", err)
	}
}

// TestNoWordsStandInLegends: names of series and of marks come from the figure or
// from internal/words, so that another language is a file.
func TestNoWordsStandInLegends(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`AddSeries\("[^"]+"|"name": "[^"]+"`)
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range named.FindAllString(string(text), -1) {
			t.Errorf("%s: %s stands in the code", file, found)
		}
	}
}
