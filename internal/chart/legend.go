package chart

import (
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Drawn is a figure's drawing and what stands around it on the page: a legend and
// names of axes are the page's own text, which stands where the drawing scrolls.
type Drawn struct {
	SVG string
	// Scale holds the numbers on the axis of values once more, to stand over a drawing
	// that is scrolled; empty where that axis lies along the foot.
	Scale string
	// Legend explains the signs.
	Legend []Sign
	// Over names the axis of values, Under the one along the foot.
	Over, Under string
}

// Sign is a line of the legend.
type Sign struct {
	// Swatch is the sign as SVG.
	Swatch template.HTML
	Name   string
}

// A swatch is so large, in the drawing's units.
const swatchWidth, swatchHeight = 22, 12

// signsOf lists the series of an option with a name, each name once.
func signsOf(option map[string]any) (all []Sign) {
	series, _ := option["series"].([]any)
	seen := map[string]bool{"": true}
	for _, one := range series {
		s := one.(map[string]any)
		name, _ := s["name"].(string)
		if seen[name] {
			continue
		}
		seen[name] = true
		// What stands in it is ours: numbers and colours of the palette.
		swatch := fmt.Sprintf(`<svg viewBox="0 0 %d %d" width="%d" height="%d" aria-hidden="true">%s</svg>`, swatchWidth, swatchHeight, swatchWidth, swatchHeight, swatchOf(s))
		all = append(all, Sign{template.HTML(swatch), name})
	}
	return all
}

// swatchOf draws what a series looks like.
func swatchOf(s map[string]any) string {
	fill, _ := s["itemStyle"].(map[string]any)
	colour, _ := fill["color"].(string)
	switch s["type"] {
	case "bar", "boxplot":
		edge, _ := fill["borderColor"].(string)
		dash := ""
		if fill["borderType"] == "dashed" {
			dash = ` stroke-dasharray="3 2"`
		}
		out := fmt.Sprintf(`<path d="M1 1h20v10h-20z" fill="%s" stroke="%s"%s/>`, colour, edge, dash)
		if pattern, _ := fill["decal"].(map[string]any); pattern != nil {
			out += marksOf(pattern)
		}
		return out
	case "line":
		stroke, _ := s["lineStyle"].(map[string]any)
		line, _ := stroke["color"].(string)
		width := asNumber(stroke["width"])
		dash := ""
		switch stroke["type"] {
		case "dashed":
			dash = fmt.Sprintf(` stroke-dasharray="%g %g"`, 4*width, 2*width)
		case "dotted":
			dash = fmt.Sprintf(` stroke-dasharray="%g"`, width)
		}
		out := fmt.Sprintf(`<path d="M0 6h22" fill="none" stroke="%s" stroke-width="%g"%s/>`, line, width, dash)
		if colour == "" {
			colour = line
		}
		return out + symbolOf(s["symbol"], asNumber(s["symbolSize"]), colour)
	}
	return symbolOf(s["symbol"], asNumber(s["symbolSize"]), colour)
}

// symbolOf draws a sign as the library does, in the middle of a swatch.
func symbolOf(symbol any, size float64, colour string) string {
	r := math.Min(size, swatchHeight) / 2
	name, _ := symbol.(string)
	paint := fmt.Sprintf(`fill="%s"`, colour)
	if bare, empty := strings.CutPrefix(name, "empty"); empty {
		name, paint = strings.ToLower(bare), fmt.Sprintf(`fill="%s" stroke="%s" stroke-width="2"`, paper, colour)
		r = math.Min(r, swatchHeight/2-1)
	}
	path := ""
	switch name {
	case "circle":
		return fmt.Sprintf(`<circle cx="11" cy="6" r="%g" %s/>`, r, paint)
	case "rect":
		path = fmt.Sprintf("M%g %gh%gv%gh%gz", 11-r, 6-r, 2*r, 2*r, -2*r)
	case "diamond":
		path = fmt.Sprintf("M11 %gL%g 6L11 %gL%g 6z", 6-r, 11+r, 6+r, 11-r)
	case "triangle":
		path = fmt.Sprintf("M11 %gL%g %gL%g %gz", 6-r, 11+r, 6+r, 11-r, 6+r)
	default:
		return ""
	}
	return fmt.Sprintf(`<path d="%s" %s/>`, path, paint)
}

// marksOf draws a pattern of the palette over a swatch: lines across it, or rows of
// marks of which every other is shifted by a half.
func marksOf(pattern map[string]any) string {
	colour, _ := pattern["color"].(string)
	across := numbers(pattern["dashArrayY"])
	if pattern["symbol"] == "rect" {
		var d strings.Builder
		sin, cos := math.Sincos(asNumber(pattern["rotation"]))
		period, half := across[0]+across[1], across[0]/2
		for k := -3.0; k <= 3; k++ {
			// The line's middle lies so far from that of the swatch, across it.
			x, y := swatchWidth/2-sin*k*period, swatchHeight/2+cos*k*period
			from, to, ok := within(x, y, cos, sin)
			if !ok {
				continue
			}
			dx, dy := sin*half, cos*half
			corner := func(along, side float64) string {
				return fmt.Sprintf("%g %g", round(x+cos*along-side*dx), round(y+sin*along+side*dy))
			}
			fmt.Fprintf(&d, "M%sL%sL%sL%sz", corner(from, 1), corner(to, 1), corner(to, -1), corner(from, -1))
		}
		return fmt.Sprintf(`<path d="%s" fill="%s"/>`, d.String(), colour)
	}
	along := numbers(pattern["dashArrayX"])
	r := across[0] / 2 * asNumber(pattern["symbolSize"])
	var d strings.Builder
	for row, y := 0, 3.0; y < 11; row, y = row+1, y+across[0]+across[1] {
		for x := 4 + float64(row%2)*along[0]; x < 20; x += 2 * along[0] {
			if pattern["symbol"] == "triangle" {
				fmt.Fprintf(&d, "M%g %gl%g %gh%gz", x, y-r, r, 2*r, -2*r)
			} else {
				fmt.Fprintf(&d, "M%g %ga%g %g 0 1 0 %g 0a%g %g 0 1 0 %g 0", x-r, y, r, r, 2*r, r, r, -2*r)
			}
		}
	}
	return fmt.Sprintf(`<path d="%s" fill="%s"/>`, d.String(), colour)
}

// within is the part of a line through a place, in a direction, that lies in a swatch.
func within(x, y, dx, dy float64) (from, to float64, ok bool) {
	from, to = math.Inf(-1), math.Inf(1)
	for _, one := range []struct{ at, along, low, high float64 }{{x, dx, 1.5, swatchWidth - 1.5}, {y, dy, 1.5, swatchHeight - 1.5}} {
		if math.Abs(one.along) < 1e-9 {
			if one.at < one.low || one.at > one.high {
				return 0, 0, false
			}
			continue
		}
		a, b := (one.low-one.at)/one.along, (one.high-one.at)/one.along
		from, to = math.Max(from, math.Min(a, b)), math.Min(to, math.Max(a, b))
	}
	return from, to, to-from > 1
}

// numbers are those of a dash array, the first row of one that has several.
func numbers(list any) []float64 {
	if rows, ok := list.([][]float64); ok {
		return rows[0]
	}
	row, _ := list.([]float64)
	return row
}

// asNumber is a number of an option, whichever type it has there.
func asNumber(v any) float64 {
	switch v := v.(type) {
	case float64:
		return v
	case int:
		return float64(v)
	}
	return 0
}

// scaleWidth is how much of a drawing the numbers on its axis take, at the left; they
// end at scaleEnd.
const (
	scaleWidth = left - 6
	scaleEnd   = left - 8
)

var tick = regexp.MustCompile(`<text [^>]*transform="translate\(` + strconv.Itoa(scaleEnd) + ` ([0-9.]+)\)"[^>]*>([^<]*)</text>`)

// scaleOf copies the numbers on the axis of values out of a drawing of a height, on
// paper that covers what lies under them from top to foot.
func scaleOf(svg string, height, top, foot int) string {
	var texts strings.Builder
	for _, m := range tick.FindAllStringSubmatch(svg, -1) {
		fmt.Fprintf(&texts, `<text x="%d" y="%s">%s</text>`, scaleEnd, m[1], m[2])
	}
	return fmt.Sprintf(`<svg class="scale" viewBox="0 0 %d %d" aria-hidden="true" font-family="sans-serif" font-size="%d" text-anchor="end" dominant-baseline="central" fill="%s"><path d="M0 %dH%dV%dH0z" fill="%s"/>%s</svg>`,
		scaleWidth, height, fontSize, ink, top-8, scaleWidth, foot+7, paper, texts.String())
}
