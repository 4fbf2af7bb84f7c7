package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/net/html"

	"thawline/internal/chart"
	"thawline/internal/figure"
)

var vertexForm = regexp.MustCompile(`([ML])([-0-9.]+) ([-0-9.]+)`)

// vertex is a corner of a line, in the drawing's units; joined to the one before it
// where it begins no new stretch.
type vertex struct {
	x, y   float64
	joined bool
}

// linesOf are the lines of a drawing that go through data, in the order of their
// series: those of axes and marks have two corners and another end.
func linesOf(svg *html.Node) (all [][]vertex) {
	for _, n := range find(svg, "path", "") {
		if attr(n, "fill") != "none" || attr(n, "stroke-linejoin") != "bevel" || attr(n, "ecmeta_ssr_type") != "" {
			continue
		}
		var one []vertex
		for _, m := range vertexForm.FindAllStringSubmatch(attr(n, "d"), -1) {
			one = append(one, vertex{float(m[2]), float(m[3]), m[1] == "L"})
		}
		if len(one) > 0 { // a series without any value has an empty line
			all = append(all, one)
		}
	}
	return all
}

// level is the height of a line drawn in steps at a place.
func level(line []vertex, x float64) float64 {
	for i, v := range line {
		if i > 0 && v.joined && math.Abs(v.y-line[i-1].y) < 0.01 && x >= line[i-1].x-0.1 && x <= v.x+0.1 {
			return v.y
		}
	}
	return math.NaN()
}

// checkLines compares the lines of a drawing: those through points with the points,
// limits with what was recomputed.
func checkLines(a *article, p figure.Panel, w wanted, values, others scale) (wrong []string) {
	fault := func(format string, x ...any) { wrong = append(wrong, fmt.Sprintf(format, x...)) }
	lines := linesOf(a.svg)
	near := func(a, b float64) bool { return math.Abs(a-b) < 1.1/math.Abs(values.perUnit) }
	if p.Chart == "funnel" {
		if len(lines) != 5 {
			return []string{fmt.Sprintf("%d lines are drawn, wanted four limits and the whole hospital's share", len(lines))}
		}
		for _, v := range lines[4] {
			if want := numberOf(w.says["share"]); !near(values.at(v.y), want) {
				fault("the whole hospital's share is drawn as %.2f, recomputed %.2f", values.at(v.y), want)
			}
		}
		for i, chance := range []float64{0.025, 0.975, 0.001, 0.999} {
			if len(lines[i]) < 10 {
				fault("the limit at %g has %d corners", chance, len(lines[i]))
			}
			for _, v := range lines[i] {
				if want := 100 * w.limit(math.Round(others.at(v.x)), chance); !near(values.at(v.y), want) {
					fault("the limit at %g of %.0f is drawn as %.2f, recomputed %.2f", chance, others.at(v.x), values.at(v.y), want)
				}
			}
		}
		return wrong
	}
	// Places of the points, by series and row.
	places := map[int]map[int]vertex{}
	for _, n := range find(a.svg, "path", "") {
		m := placed.FindStringSubmatch(attr(n, "transform"))
		if m == nil || attr(n, "ecmeta_ssr_type") != "chart" {
			continue
		}
		series := int(float(attr(n, "ecmeta_series_index")))
		if places[series] == nil {
			places[series] = map[int]vertex{}
		}
		places[series][int(float(attr(n, "ecmeta_data_index")))] = vertex{x: float(m[1]), y: float(m[2])}
	}
	through := func(line []vertex, points map[int]vertex) {
		if len(line) != len(points) {
			fault("a line has %d corners for %d points", len(line), len(points))
		}
		last := -1
		for r := range a.rows {
			point, there := points[r]
			if !there {
				continue
			}
			at := slices.IndexFunc(line, func(v vertex) bool { return math.Abs(v.x-point.x) < 0.1 && math.Abs(v.y-point.y) < 0.1 })
			if at < 0 {
				fault("row %d: the line does not go through its point", r+1)
			} else if line[at].joined != (last == r-1 && last >= 0) {
				fault("row %d: the line is joined to the row before %t, which has a point %t", r+1, line[at].joined, last == r-1)
			}
			last = r
		}
	}
	switch p.Chart {
	case "lines", "before_after":
		var series []int
		for s := range places {
			series = append(series, s)
		}
		slices.Sort(series)
		if len(lines) != len(series) {
			fault("%d lines are drawn for %d series", len(lines), len(series))
			break
		}
		for i, s := range series {
			through(lines[i], places[s])
		}
	case "control", "rate", "between":
		limited := w.heads[len(w.heads)-1] == "Signal"
		if want := map[bool]int{true: 4, false: 1}[limited]; len(lines) != want {
			fault("%d lines are drawn, wanted %d", len(lines), want)
			break
		}
		through(lines[0], places[0])
		if !limited {
			break
		}
		for i, head := range []string{"Centre", "Lower limit", "Upper limit"} {
			column := slices.Index(w.heads, head)
			for r, point := range places[0] {
				if want, got := numberOf(w.rows[r][column]), values.at(level(lines[i+1], point.x)); !near(got, want) {
					fault("row %d: the %s is drawn as %.2f, recomputed %.2f", r+1, head, got, want)
				}
			}
		}
	default:
		if len(lines) > 0 {
			fault("%d lines are drawn, wanted none", len(lines))
		}
	}
	return wrong
}

// isLabel says that a text stands beside a bar or a point, or over it. What a line or
// an area is called is none.
func isLabel(n *html.Node) bool {
	over := attr(n, "text-anchor") == "middle" && float(attr(n, "y")) < 0
	beside := attr(n, "text-anchor") == "start" && attr(n, "y") == "" && attr(n, "x") == ""
	return (over || beside) && plainText(n) != "no change" && plainText(n) != "dose band"
}

// bearsLine says that a chart has a line at the month of the intervention.
func bearsLine(a *article, p figure.Panel) bool {
	of, ok := definition(p)
	return ok && a.svg != nil && chart.ByMonth(p) && slices.ContainsFunc(of.Points, func(c figure.Column) bool { return c.Name == p.X && c.Kind == figure.Month }) &&
		slices.ContainsFunc(a.rows, func(row []string) bool { return row[0] == monthName(interventionMonth) })
}

// bandLine is a dashed line at the left edge of a band, the first being 0.
type bandLine struct {
	number string
	band   float64
}

// checkLabels compares the numbers and names written beside bars and points with the
// table's, which are compared with what was recomputed.
func checkLabels(a *article, p figure.Panel) (wrong []string) {
	var written, want []string
	for _, n := range find(a.svg, "text", "") {
		text := plainText(n)
		label := isLabel(n)
		if p.Chart == "funnel" {
			// A name stands at any side of its point; all else is numbers.
			label = math.IsNaN(float(strings.TrimSuffix(strings.ReplaceAll(text, ",", ""), " %")))
		}
		if label && !isHiddenWord(text) {
			written = append(written, text)
		}
	}
	if bearsLine(a, p) {
		// The number of the intervention stands over the picture.
		if at := slices.Index(written, "1"); at < 0 {
			wrong = append(wrong, "no number stands over the line of the intervention")
		} else {
			written = slices.Delete(written, at, at+1)
		}
	}
	for _, line := range map[string][]bandLine{"thaw_to_fate": {{"24", 5}, {"120", 7}}}[p.Figure] {
		// A dashed line stands at the band that begins there, its number over it.
		at := slices.IndexFunc(find(a.svg, "text", ""), func(n *html.Node) bool {
			m := translated.FindStringSubmatch(attr(n, "transform"))
			return m != nil && plainText(n) == line.number && isLabel(n) && math.Abs(float(m[1])-(56+478*line.band/float64(len(a.rows)))) < 1
		})
		if label := slices.Index(written, line.number); at < 0 || label < 0 {
			wrong = append(wrong, fmt.Sprintf("no line is numbered %s at band %g", line.number, line.band+1))
		} else {
			written = slices.Delete(written, label, label+1)
		}
	}
	cell := func(r int, name string) string {
		if at := a.column(head(p, name)); at >= 0 {
			return strings.ReplaceAll(a.rows[r][at], ",", "")
		}
		return ""
	}
	for r := range a.rows {
		text := ""
		switch {
		case p.Chart == "quartiles":
			text = cell(r, p.Y[1])
		case p.Chart == "shares":
			text = percent(float(cell(r, p.Y[0])) / float(cell(r, p.Y[1])))
		case p.Chart == "funnel":
			if a.rows[r][a.column("Outside")] == "99.8 % limit" {
				text = a.rows[r][0]
			}
		case len(p.Y) == 1 && slices.Contains([]string{"bars", "histogram", "rows"}, p.Chart):
			text = cell(r, p.Y[0])
		}
		if !slices.Contains([]string{"", "0", "–", "hidden", "NaN %"}, text) {
			want = append(want, text)
		}
	}
	if !slices.Equal(written, want) {
		wrong = append(wrong, fmt.Sprintf("beside its shapes stands %q, wanted %q", written, want))
	}
	return wrong
}
