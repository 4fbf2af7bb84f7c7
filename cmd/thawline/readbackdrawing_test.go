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
type scale struct {
	zero, perUnit float64
	// first and last are the values at its ends.
	first, last float64
}

var (
	translated = regexp.MustCompile(`^translate\(([-0-9.]+) ([-0-9.]+)\)$`)
	placed     = regexp.MustCompile(`^matrix\([^,]+,0,0,[^,]+,([-0-9.]+),([-0-9.]+)\)$`)
	// The lower and the upper quartile of a box, from its whiskers, which have no length.
	boxForm = regexp.MustCompile(`ZM[-0-9.]+ ([-0-9.]+)M[-0-9.]+ ([-0-9.]+)M`)
	barForm = regexp.MustCompile(`^M([-0-9.]+) ([-0-9.]+)l([-0-9.]+) 0l0 ([-0-9.]+)l`)
)

func (s scale) at(place float64) float64 { return (place - s.zero) / s.perUnit }

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
		value := float(strings.TrimSuffix(strings.NewReplacer(",", "", "−", "-").Replace(plainText(n)), " %"))
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
	return scale{at[0] - per*values[0], per, slices.Min(values), slices.Max(values)}, true
}

// checkFunnel looks for a point of each place that is shown, wherever it stands in
// its series, and for no other.
func checkFunnel(id string, a *article, p figure.Panel, shares scale, cell func(int, string) (float64, bool)) (wrong []string) {
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
		drawn = append(drawn, [2]float64{sizes.at(float(m[1])), shares.at(float(m[2]))})
	}
	for r, row := range a.rows {
		n, okN := cell(r, p.Y[0])
		of, okOf := cell(r, p.Y[1])
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

// bubbleSize is the radius of a circle.
var bubbleSize = regexp.MustCompile(`^matrix\(([0-9.]+),0,0,`)

// checkBubbles compares the circles of a chart of weight by units with its table: where
// they stand, and that their areas are as their counts; a hidden count is a diamond.
func checkBubbles(id string, a *article, p figure.Panel, cell func(int, string) (float64, bool), drawn shapes, kg scale) (wrong []string) {
	fault := func(format string, x ...any) { wrong = append(wrong, id+": "+fmt.Sprintf(format, x...)) }
	radii := map[[2]int]float64{}
	for _, n := range find(a.svg, "path", "") {
		if m := bubbleSize.FindStringSubmatch(attr(n, "transform")); m != nil && attr(n, "ecmeta_data_index") != "" {
			radii[[2]int{int(float(attr(n, "ecmeta_series_index"))), int(float(attr(n, "ecmeta_data_index")))}] = float(m[1])
		}
	}
	largest := 0.0
	for r := range a.rows {
		for _, name := range p.Y {
			if n, ok := cell(r, name); ok {
				largest = math.Max(largest, n)
			}
		}
	}
	var next [2]int
	for r := range a.rows {
		for k, name := range p.Y {
			n, shown := cell(r, name)
			series := 0
			switch {
			case isHidden(a, r, head(p, name)):
				series = 1
			case !shown || n == 0:
				continue
			}
			key := [2]int{series, next[series]}
			next[series]++
			y, found := drawn.points[key]
			if x := drawn.across[key]; !found || math.Abs(y-float64(k+1)) > 0.05 || math.Abs(x-(52.5+15*float64(r))) > 0.3 {
				fault("row %d, %s stands (%t) at %.2f kg and %.2f units", r+1, name, found, x, y)
			}
			if want := math.Max(2.5, 14*math.Sqrt(n/largest)); series == 0 && math.Abs(radii[key]-want) > 0.51 {
				fault("row %d, %s: a circle of %.1f for %.0f of %.0f, wanted %.1f", r+1, name, radii[key], n, largest, want)
			}
		}
	}
	if len(drawn.points) != next[0]+next[1] {
		fault("%d signs are drawn for %d numbers", len(drawn.points), next[0]+next[1])
	}
	return wrong
}

// shapes are what a drawing holds, by series and row, in values of its axis.
type shapes struct {
	// bars are lengths, points places, across places on the other axis.
	bars, points, across map[[2]int]float64
	// boxes reach from the first value to the second.
	boxes map[[2]int][2]float64
}

func shapesOf(svg *html.Node, values, others scale, lying bool) shapes {
	s := shapes{map[[2]int]float64{}, map[[2]int]float64{}, map[[2]int]float64{}, map[[2]int][2]float64{}}
	for _, n := range find(svg, "path", "") {
		if attr(n, "ecmeta_ssr_type") != "chart" || attr(n, "ecmeta_data_index") == "" {
			continue
		}
		key := [2]int{int(float(attr(n, "ecmeta_series_index"))), int(float(attr(n, "ecmeta_data_index")))}
		if m := boxForm.FindStringSubmatch(attr(n, "d")); m != nil {
			s.boxes[key] = [2]float64{values.at(float(m[1])), values.at(float(m[2]))}
		} else if m := barForm.FindStringSubmatch(attr(n, "d")); m != nil && attr(n, "transform") == "" {
			length := float(m[4])
			if lying {
				length = float(m[3])
			}
			s.bars[key] = length / values.perUnit
		} else if m := placed.FindStringSubmatch(attr(n, "transform")); m != nil {
			place, other := float(m[2]), float(m[1])
			if lying {
				place, other = other, place
			}
			s.points[key], s.across[key] = values.at(place), others.at(other)
		}
	}
	return s
}

// addedHeads are the heads of columns that statistics add to a figure.
var addedHeads = map[string]string{"fitted": "Lines fitted", "without": "Line before, gone on"}

// head is the head of a figure's column.
func head(p figure.Panel, name string) string {
	if added, ok := addedHeads[name]; ok {
		return added
	}
	if d, ok := definition(p); ok {
		for _, c := range d.Points {
			if c.Name == name {
				return c.Title
			}
		}
	}
	return ""
}

// definitions keeps what was parsed: thousands of altered pages ask again.
var definitions = map[string]*figure.Definition{}

// definition is what a panel's figure says of itself.
func definition(p figure.Panel) (*figure.Definition, bool) {
	if d := definitions[p.Figure]; d != nil {
		return d, true
	}
	text, err := queries.FS.ReadFile("figures/" + p.Figure + ".sql")
	if err != nil {
		return nil, false
	}
	d, err := figure.Parse(p.Figure+".sql", string(text))
	if err == nil {
		definitions[p.Figure] = d
	}
	return d, err == nil
}

func isHidden(a *article, row int, head string) bool {
	at := a.column(head)
	return at >= 0 && a.rows[row][at] == "hidden"
}

// numberOf is a value as a drawing's axis has it: shares in percent.
func numberOf(v any) float64 {
	switch v := v.(type) {
	case persons:
		return float64(v)
	case bags:
		return float64(v)
	case part:
		return 100 * float64(v.n) / float64(v.of)
	case bagPart:
		return 100 * float64(v.n) / float64(v.of)
	case fraction:
		return 100 * float64(v)
	case peopled:
		return v.x
	case figured:
		return v.x
	}
	return math.NaN()
}

// checkDrawing compares the bars, points and boxes of a drawing with what was
// recomputed for the rows that the table under it shows. A hidden cell and a zero
// have none.
func checkDrawing(id string, a *article, p figure.Panel, w wanted) (wrong []string) {
	fault := func(format string, x ...any) { wrong = append(wrong, id+": "+fmt.Sprintf(format, x...)) }
	lying := p.Chart == "rows" || p.Chart == "shares"
	axis, ok := axisOf(a.svg, lying)
	if !ok {
		return []string{id + ": the drawing has no axis of values"}
	}
	others, _ := axisOf(a.svg, !lying)
	drawn := shapesOf(a.svg, axis, others, lying)
	// Half a pixel, where the drawing rounds, and the border of a bar.
	near := 1.1 / math.Abs(axis.perUnit)
	cells := map[string][]float64{}
	cell := func(r int, name string) (float64, bool) {
		if cells[name] == nil {
			title := head(p, name)
			at, mine := a.column(title), slices.Index(w.heads, title)
			for i, row := range a.rows {
				x := math.NaN()
				switch {
				case at < 0 || row[at] == "hidden" || row[at] == "–":
				case mine >= 0 && i < len(w.rows):
					x = numberOf(w.rows[i][mine])
				default:
					x = float(strings.ReplaceAll(strings.ReplaceAll(row[at], ",", ""), "−", "-"))
				}
				cells[name] = append(cells[name], x)
			}
		}
		if r >= len(cells[name]) {
			return 0, false
		}
		x := cells[name][r]
		return x, !math.IsNaN(x)
	}
	compare := func(what string, series, row int, drawn map[[2]int]float64, value float64, there bool) {
		key := [2]int{series, row}
		x, found := drawn[key]
		delete(drawn, key)
		switch {
		case found != there:
			fault("row %d, %s: drawn %t, in the table %t", row+1, what, found, there)
		case there && math.Abs(x-value) > near:
			fault("row %d, %s is drawn as %.2f, recomputed %.2f", row+1, what, x, value)
		}
	}
	switch p.Chart {
	case "bars", "histogram", "stacked", "rows":
		for s, name := range p.Y {
			for r := range a.rows {
				value, shown := cell(r, name)
				compare(name, s, r, drawn.bars, value, shown && value != 0)
			}
		}
	case "control", "shares", "rate":
		series, per := 0, 100.0
		if p.Chart == "shares" {
			series = 2
		}
		if p.Chart == "rate" {
			per = p.Per
		}
		for r := range a.rows {
			n, okN := cell(r, p.Y[0])
			of, okOf := cell(r, p.Y[1])
			there := okN && okOf && of > 0
			compare("share", series, r, drawn.points, per*n/of, there)
			if p.Chart == "shares" {
				low, high := wilson(int(n), int(of))
				compare("interval, from", 0, r, drawn.bars, 100*low, there)
				compare("interval, length", 1, r, drawn.bars, 100*(high-low), there)
			}
		}
	case "between", "lines", "before_after":
		names := p.Y
		if p.Chart == "before_after" {
			names = []string{"share", "fitted", "without"}
		}
		s := 0
		for _, name := range names {
			some := false
			for r := range a.rows {
				_, shown := cell(r, name)
				some = some || shown || isHidden(a, r, head(p, name))
			}
			if !some {
				continue // It is no series.
			}
			for r := range a.rows {
				value, shown := cell(r, name)
				compare(name, s, r, drawn.points, value, shown)
			}
			s++
		}
	case "quartiles":
		for r := range a.rows {
			low, okLow := cell(r, p.Y[0])
			median, okMedian := cell(r, p.Y[1])
			high, okHigh := cell(r, p.Y[2])
			there := okLow && okMedian && okHigh
			box, found := drawn.boxes[[2]int{0, r}]
			if found != there || there && (math.Abs(box[0]-low) > near || math.Abs(box[1]-high) > near) {
				fault("row %d, a box is drawn (%t) from %.2f to %.2f, recomputed (%t) %.2f to %.2f", r+1, found, box[0], box[1], there, low, high)
			}
			compare(p.Y[1], 1, r, drawn.points, median, there)
			if len(p.Y) > 3 {
				value, shown := cell(r, p.Y[3])
				compare(p.Y[3], 2, r, drawn.points, value, shown)
			}
		}
	case "effect":
		nearAcross := 1.1 / math.Abs(others.perUnit)
		for s, name := range []string{"after", "low", "high", "expected"} {
			place := 0
			for r := range a.rows {
				x, okX := cell(r, p.X)
				value, shown := cell(r, name)
				if !okX || !shown {
					continue
				}
				if at := drawn.across[[2]int{s, place}]; math.Abs(at-x) > nearAcross {
					fault("row %d, %s stands at %.2f, recomputed %.2f", r+1, name, at, x)
				}
				compare(name, s, place, drawn.points, value, true)
				place++
			}
		}
	case "bubbles":
		wrong = append(wrong, checkBubbles(id, a, p, cell, drawn, others)...)
		clear(drawn.points)
	case "funnel":
		wrong = append(wrong, checkFunnel(id, a, p, axis, cell)...)
		clear(drawn.points)
	default:
		fault("a chart of kind %s is not measured", p.Chart)
	}
	wrong = append(wrong, checkHidden(id, a, p, w, drawn, axis)...)
	if len(drawn.bars)+len(drawn.points) > 0 {
		fault("shapes stand for nothing of the table: bars %v, points %v", drawn.bars, drawn.points)
	}
	for _, one := range slices.Concat(checkLines(a, p, w, axis, others), checkLabels(a, p), checkAround(a, p)) {
		fault("%s", one)
	}
	return wrong
}
