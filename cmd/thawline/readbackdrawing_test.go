package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/net/html"

	"thawline/internal/figure"
	"thawline/queries"
)

// scale turns places of a drawing's axis of values into values.
type scale struct{ zero, perUnit float64 }

var (
	translated = regexp.MustCompile(`^translate\(([-0-9.]+) ([-0-9.]+)\)$`)
	placed     = regexp.MustCompile(`^matrix\([^,]+,0,0,[^,]+,([-0-9.]+),([-0-9.]+)\)$`)
	barForm    = regexp.MustCompile(`^M([-0-9.]+) ([-0-9.]+)l([-0-9.]+) 0l0 ([-0-9.]+)l`)
)

func float(s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

// axisOf reads the numbers on the axis of values: at the left, or under lying bars.
func axisOf(svg *html.Node, lying bool) (scale, bool) {
	var at, values []float64
	for _, n := range find(svg, "text", "") {
		m := translated.FindStringSubmatch(attr(n, "transform"))
		value := float(strings.TrimSuffix(strings.ReplaceAll(plainText(n), ",", ""), " %"))
		tick := attr(n, "text-anchor") == "end" && attr(n, "y") == ""
		place := 2
		if lying {
			tick, place = attr(n, "text-anchor") == "middle" && float(attr(n, "y")) > 0, 1
		}
		if m == nil || !tick || math.IsNaN(value) {
			continue
		}
		at, values = append(at, float(m[place])), append(values, value)
	}
	if len(at) < 2 || values[0] == values[len(values)-1] {
		return scale{}, false
	}
	per := (at[len(at)-1] - at[0]) / (values[len(values)-1] - values[0])
	return scale{zero: at[0] - per*values[0], perUnit: per}, true
}

// checkFunnel looks for a point of each place that is shown, wherever it stands in
// its series, and for no other.
func checkFunnel(id string, a *article, p figure.Panel, shares scale, cell func([]string, string) (float64, bool)) (wrong []string) {
	sizes, ok := axisOf(a.svg, true)
	if !ok {
		return []string{id + ": the drawing has no axis of sizes"}
	}
	var drawn [][2]float64
	for _, n := range find(a.svg, "path", "") {
		m := placed.FindStringSubmatch(attr(n, "transform"))
		if m == nil || attr(n, "ecmeta_ssr_type") != "chart" || attr(n, "ecmeta_data_index") == "" {
			continue
		}
		drawn = append(drawn, [2]float64{(float(m[1]) - sizes.zero) / sizes.perUnit, (float(m[2]) - shares.zero) / shares.perUnit})
	}
	for _, row := range a.rows {
		n, okN := cell(row, p.Y[0])
		of, okOf := cell(row, p.Y[1])
		if !okN || !okOf {
			continue
		}
		at := slices.IndexFunc(drawn, func(x [2]float64) bool {
			return math.Abs(x[0]-of) < 1.1/math.Abs(sizes.perUnit) && math.Abs(x[1]-100*n/of) < 1.1/math.Abs(shares.perUnit)
		})
		if at < 0 {
			wrong = append(wrong, fmt.Sprintf("%s: no point stands at %.0f of %.0f (%s)", id, n, of, row[0]))
			continue
		}
		drawn = slices.Delete(drawn, at, at+1)
	}
	if len(drawn) > 0 {
		wrong = append(wrong, fmt.Sprintf("%s: %d points stand for no row of the table: %v", id, len(drawn), drawn))
	}
	return wrong
}

// checkDrawing compares the bars or points of a drawing with the table under it,
// which is compared with what was recomputed. A hidden cell and a zero have none.
func checkDrawing(id string, a *article, p figure.Panel) (wrong []string) {
	fault := func(format string, x ...any) { wrong = append(wrong, id+": "+fmt.Sprintf(format, x...)) }
	lying := p.Chart == "rows" || p.Chart == "shares"
	axis, ok := axisOf(a.svg, lying)
	if !ok {
		return []string{id + ": the drawing has no axis of values"}
	}
	// What is drawn, by series and row: a length of bars, a place of points.
	bars, points := map[[2]int]float64{}, map[[2]int]float64{}
	for _, n := range find(a.svg, "path", "") {
		if attr(n, "ecmeta_ssr_type") != "chart" || attr(n, "ecmeta_data_index") == "" {
			continue
		}
		key := [2]int{int(float(attr(n, "ecmeta_series_index"))), int(float(attr(n, "ecmeta_data_index")))}
		if m := barForm.FindStringSubmatch(attr(n, "d")); m != nil && attr(n, "transform") == "" {
			length := float(m[4])
			if lying {
				length = float(m[3])
			}
			bars[key] = length / axis.perUnit
		} else if m := placed.FindStringSubmatch(attr(n, "transform")); m != nil {
			place := float(m[2])
			if lying {
				place = float(m[1])
			}
			points[key] = (place - axis.zero) / axis.perUnit
		}
	}
	// Half a pixel, where the drawing rounds, and the border of a bar.
	near := 1.1 / math.Abs(axis.perUnit)
	column := func(name string) int {
		text, err := queries.FS.ReadFile("figures/" + p.Figure + ".sql")
		if err != nil {
			return -1
		}
		d, err := figure.Parse(p.Figure+".sql", string(text))
		if err != nil {
			return -1
		}
		for _, c := range d.Points {
			for i, head := range a.heads {
				if c.Name == name && c.Title == head {
					return i
				}
			}
		}
		return -1
	}
	cell := func(row []string, name string) (float64, bool) {
		at := column(name)
		if at < 0 {
			return 0, false
		}
		x := float(strings.ReplaceAll(row[at], ",", ""))
		return x, !math.IsNaN(x)
	}
	compare := func(what string, series, row int, drawn map[[2]int]float64, value float64, there bool) {
		x, found := drawn[[2]int{series, row}]
		switch {
		case found != there:
			fault("row %d, %s: drawn %t, in the table %t", row+1, what, found, there)
		case there && math.Abs(x-value) > near:
			fault("row %d, %s is drawn as %.2f, the table says %.2f", row+1, what, x, value)
		}
	}
	switch p.Chart {
	case "bars", "histogram", "stacked", "rows":
		for s, name := range p.Y {
			for r, row := range a.rows {
				value, shown := cell(row, name)
				compare(name, s, r, bars, value, shown && value != 0)
			}
		}
	case "control", "shares":
		series := map[string]int{"control": 0, "shares": 2}[p.Chart]
		for r, row := range a.rows {
			n, okN := cell(row, p.Y[0])
			of, okOf := cell(row, p.Y[1])
			compare("share", series, r, points, 100*n/of, okN && okOf && of > 0)
		}
	case "funnel":
		wrong = append(wrong, checkFunnel(id, a, p, axis, cell)...)
	default:
		fault("a chart of kind %s is not measured", p.Chart)
	}
	return wrong
}
