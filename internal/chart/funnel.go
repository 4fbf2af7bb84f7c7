package chart

import (
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"thawline/internal/figure"
)

// limitSteps bounds the points of a limit's line: every size up to it, then
// steps that grow with the size, as the line flattens.
const limitSteps = 40

// funnel draws each row's share against its size, with the limits around the
// whole's own share. Rows outside the outer limits bear their name, where it lies
// over no other name; the note and the table name them all.
func funnel(f *figure.Figure, p figure.Panel, look Look) (map[string]any, error) {
	label, n, of, outside := f.Index(p.X), f.Index(p.Y[0]), f.Index(p.Y[1]), f.Index("outside")
	largest := 10.0
	var inside, out []opts.ScatterData
	for _, row := range f.Rows {
		x, okX := row[n].Value.(int64)
		size, okSize := row[of].Value.(int64)
		if !okX || !okSize || size == 0 {
			continue
		}
		largest = math.Max(largest, float64(size))
		name, _ := row[label].Value.(string)
		if outside < 0 || row[outside].Value != look.Format.Say("limit_998") {
			name = ""
		}
		point := opts.ScatterData{Name: shorten(name, 30), Value: []any{size, round(100 * float64(x) / float64(size))}}
		if outside >= 0 && row[outside].Value != nil {
			out = append(out, point)
		} else {
			inside = append(inside, point)
		}
	}
	largest, step := topOf(largest * 1.05)
	scatter := charts.NewScatter()
	scatter.SetGlobalOptions(common(p, true)...)
	scatter.AddSeries(look.Format.Say("within_limits"), inside, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "circle", SymbolSize: 10}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[0]}))
	scatter.AddSeries(look.Format.Say("outside_limits"), out, charts.WithScatterChartOpts(opts.ScatterChart{Symbol: "diamond", SymbolSize: 14}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[1]}),
		charts.WithLabelOpts(opts.Label{Show: opts.Bool(true), Position: "top", Formatter: "{b}", Color: ink, FontSize: fontSize}))
	line := charts.NewLine()
	for _, one := range []struct {
		name, kind string
		low, high  float64
	}{{look.Format.Say("limits_95"), "solid", 0.025, 0.975}, {look.Format.Say("limits_998"), "dashed", 0.001, 0.999}} {
		for _, place := range []float64{one.low, one.high} {
			var data []opts.LineData
			for size := 1; size <= int(largest); size += 1 + size/limitSteps {
				data = append(data, opts.LineData{Symbol: "none", Value: []any{size, round(100 * look.Funnel.Share(size, place))}})
			}
			data = append(data, opts.LineData{Symbol: "none", Value: []any{largest, round(100 * look.Funnel.Share(int(largest), place))}})
			line.AddSeries(one.name, data, charts.WithLineStyleOpts(opts.LineStyle{Color: ink, Width: 1, Type: one.kind}), charts.WithItemStyleOpts(opts.ItemStyle{Color: ink}))
		}
	}
	line.AddSeries(look.Format.Say("whole_hospital"), []opts.LineData{{Symbol: "none", Value: []any{0, round(100 * look.Funnel.Target)}}, {Symbol: "none", Value: []any{largest, round(100 * look.Funnel.Target)}}},
		charts.WithLineStyleOpts(opts.LineStyle{Color: lineHues[2], Width: 2, Type: "dotted"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: lineHues[2]}))
	scatter.Overlap(line)
	scatter.Validate()
	option, err := plain(scatter.JSON())
	if err != nil {
		return nil, err
	}
	if series, _ := option["series"].([]any); len(series) > 1 {
		outer := series[1].(map[string]any)
		label := outer["label"].(map[string]any)
		label["backgroundColor"], label["padding"] = paper, 1
		outer["z"] = 5
		outer["labelLayout"] = map[string]any{"hideOverlap": true}
		room := &nameRoom{look.Funnel, largest, nil, nil}
		var named []map[string]any
		for k, one := range series[:2] {
			points, _ := one.(map[string]any)["data"].([]any)
			for _, point := range points {
				point := point.(map[string]any)
				at := point["value"].([]any)
				room.points = append(room.points, spot{at[0].(float64), at[1].(float64)})
				switch {
				case point["name"] != nil && point["name"] != "":
					named = append(named, point)
				case k == 1:
					// A name without letters would still be a white patch.
					point["label"] = map[string]any{"show": false}
				}
			}
		}
		for _, point := range named {
			at := point["value"].([]any)
			if side := room.side(spot{at[0].(float64), at[1].(float64)}, point["name"].(string)); side != "top" {
				point["label"] = map[string]any{"position": side}
			}
		}
	}
	axis(option, "xAxis", map[string]any{"type": "value", "min": 0, "max": largest, "interval": step, "data": nil})
	axis(option, "yAxis", map[string]any{"min": 0, "max": 100, "axisLabel": map[string]any{"formatter": "{value} %", "color": ink, "fontSize": fontSize}})
	return option, nil
}

// spot is a place in a funnel: a size and a share in percent.
type spot struct{ size, share float64 }

// nameRoom finds names of points a place in a funnel.
type nameRoom struct {
	funnel  *figure.Funnel
	largest float64
	points  []spot
	taken   []box
}

// box is a part of the picture, in the drawing's units from its left top.
type box struct{ left, top, right, bottom float64 }

func (b box) meets(o box) bool {
	return b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom
}

func (n *nameRoom) x(size float64) float64  { return (width - left - right) * size / n.largest }
func (n *nameRoom) y(share float64) float64 { return plotHeight * (1 - share/100) }

// side says at which side of its point a name lies over no line and no other point or
// name; over the point where it does so at every side, with paper behind it.
func (n *nameRoom) side(at spot, name string) string {
	x, y, wide := n.x(at.size), n.y(at.share), float64(7*len([]rune(name)))
	places := []struct {
		side string
		box
	}{
		{"top", box{x - wide/2, y - 24, x + wide/2, y - 8}},
		{"right", box{x + 11, y - 8, x + 11 + wide, y + 8}},
		{"left", box{x - 11 - wide, y - 8, x - 11, y + 8}},
		{"bottom", box{x - wide/2, y + 8, x + wide/2, y + 24}},
	}
	best := places[0]
	for _, place := range places {
		// Beside the picture there is room at its right alone, and half a line's over it.
		if place.left >= 0 && place.right <= width-left && place.top >= -8 && place.bottom <= plotHeight+8 && n.free(place.box, at) {
			best = place
			break
		}
	}
	n.taken = append(n.taken, best.box)
	return best.side
}

func (n *nameRoom) free(b box, own spot) bool {
	for _, other := range n.taken {
		if b.meets(other) {
			return false
		}
	}
	for _, p := range n.points {
		if x, y := n.x(p.size), n.y(p.share); p != own && b.meets(box{x - 7, y - 7, x + 7, y + 7}) {
			return false
		}
	}
	// Neither over the axis at the foot nor over the whole hospital's share.
	for _, share := range []float64{0, 100 * n.funnel.Target} {
		if y := n.y(share); y > b.top && y < b.bottom {
			return false
		}
	}
	scale := n.largest / (width - left - right)
	for _, place := range []float64{0.025, 0.975, 0.001, 0.999} {
		// Where a line crosses a box, it enters it or changes sides within it.
		above := 0
		for x := b.left; x <= b.right+8; x += 8 {
			size := int(math.Round(math.Min(x, b.right) * scale))
			if size < 1 || float64(size) > n.largest {
				continue
			}
			y, side := n.y(100*n.funnel.Share(size, place)), 0
			switch {
			case y <= b.top-1:
				side = -1
			case y >= b.bottom+1:
				side = 1
			}
			if side == 0 || above != 0 && side != above {
				return false
			}
			above = side
		}
	}
	return true
}
