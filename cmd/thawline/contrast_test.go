package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// The contrast that WCAG 2.2 wants: of text against what lies behind it (success
// criterion 1.4.3, minimum), and of the parts of a picture that are needed to
// understand it against what lies beside them (1.4.11, non-text contrast).
// https://www.w3.org/TR/WCAG22/
const (
	textContrast    = 4.5
	graphicContrast = 3.0
)

// colour is red, green, blue and opacity, each from 0 to 1.
type colour [4]float64

// parseColour reads what the browser computes: rgb(1, 2, 3), rgba(1, 2, 3, 0.5).
func parseColour(text string) (colour, error) {
	inner, found := strings.CutPrefix(text, "rgba(")
	if !found {
		inner, found = strings.CutPrefix(text, "rgb(")
	}
	parts := strings.Split(strings.TrimSuffix(inner, ")"), ",")
	if !found || len(parts) < 3 || len(parts) > 4 {
		return colour{}, fmt.Errorf("%q is no colour", text)
	}
	c := colour{3: 1}
	for i, part := range parts {
		x, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil {
			return colour{}, fmt.Errorf("%q is no colour", text)
		}
		if i < 3 {
			x /= 255
		}
		c[i] = x
	}
	return c, nil
}

// over lays a colour over an opaque one.
func (c colour) over(ground colour) colour {
	for i := range 3 {
		c[i] = c[i]*c[3] + ground[i]*(1-c[3])
	}
	c[3] = 1
	return c
}

// luminance is WCAG 2.2's relative luminance of an opaque colour.
func (c colour) luminance() float64 {
	linear := func(x float64) float64 {
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c[0]) + 0.7152*linear(c[1]) + 0.0722*linear(c[2])
}

// contrast is WCAG 2.2's contrast ratio, from 1 to 21.
func contrast(a, b colour) float64 {
	x, y := a.luminance(), b.luminance()
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func TestContrastAgreesWithPublishedValues(t *testing.T) {
	for _, one := range []struct {
		a, b   string
		wanted float64
		source string
	}{
		{"rgb(0, 0, 0)", "rgb(255, 255, 255)", 21, "WCAG 2.2, contrast ratio: ranges from 1 to 21"},
		{"rgb(118, 118, 118)", "rgb(255, 255, 255)", 4.54, "WebAIM, Contrast and Color Accessibility: #767676 on white is 4.54:1"},
		{"rgb(119, 119, 119)", "rgb(255, 255, 255)", 4.48, "WebAIM, as above: #777777 is 4.48:1 and fails"},
		{"rgb(255, 0, 0)", "rgb(255, 255, 255)", 4, "W3C, Understanding 1.4.3: pure red on white is 3.998:1"},
	} {
		a, errA := parseColour(one.a)
		b, errB := parseColour(one.b)
		if errA != nil || errB != nil || math.Abs(contrast(a, b)-one.wanted) > 0.006 {
			t.Errorf("%s on %s: %.3f, wanted %.2f (%s) %v %v", one.a, one.b, contrast(a, b), one.wanted, one.source, errA, errB)
		}
	}
}

// drawingParts asks the browser for every text of every chart with what lies
// behind it, for every shape with what lies around it, and for texts that lie
// over one another or beyond the drawing's edge. Layers run from the topmost to the
// lowest; a pattern is told by the colours of its parts.
const drawingParts = `(async () => {
	const paint = (value, opacity) => {
		const url = /url\(["']?#([^"')]+)/.exec(value);
		if (!url) return value === 'none' ? [] : [mixed(value, opacity)];
		const pattern = document.getElementById(url[1]), all = [];
		for (const part of pattern.querySelectorAll('*')) {
			const s = getComputedStyle(part);
			if (s.fill !== 'none') all.push(mixed(s.fill, s.fillOpacity));
			if (s.stroke !== 'none') all.push(mixed(s.stroke, s.strokeOpacity));
		}
		return all;
	};
	const mixed = (value, opacity) => {
		const m = /^rgba?\(([^)]+)\)$/.exec(value);
		if (!m) return value;
		const n = m[1].split(',').map(Number);
		return 'rgba(' + [n[0], n[1], n[2], (n.length > 3 ? n[3] : 1) * Number(opacity)].join(', ') + ')';
	};
	const isPattern = value => value.startsWith('url(');
	const out = [];
	for (const svg of document.querySelectorAll('svg[role=img], .legend li > svg')) {
		svg.scrollIntoView({block: 'center'});
		const edge = svg.getBoundingClientRect();
		const one = {id: (svg.closest('article') || svg.parentElement).id, texts: [], shapes: [], faults: []};
		const shapes = [...svg.querySelectorAll('path, rect, circle, line, polyline, polygon')].filter(e => !e.closest('defs, clipPath, pattern'));
		for (const e of [...shapes, ...svg.querySelectorAll('text')]) e.style.pointerEvents = 'all';
		const layersAt = (x, y, but) => {
			const layers = [];
			for (const e of document.elementsFromPoint(x, y)) {
				if (e === but || !svg.contains(e) || e === svg || e.tagName === 'text' || e.tagName === 'tspan' || e.tagName === 'g') continue;
				const s = getComputedStyle(e), p = new DOMPoint(x, y).matrixTransform(e.getScreenCTM().inverse());
				if (e.isPointInStroke && s.stroke !== 'none' && parseFloat(s.strokeWidth) > 0 && e.isPointInStroke(p)) layers.push({colours: paint(s.stroke, s.strokeOpacity), pattern: false});
				if (e.isPointInFill && s.fill !== 'none' && e.isPointInFill(p)) layers.push({colours: paint(s.fill, s.fillOpacity), pattern: isPattern(s.fill)});
			}
			return layers;
		};
		const texts = [...svg.querySelectorAll('text')].filter(e => e.textContent.trim());
		const boxes = texts.map(e => e.getBoundingClientRect());
		texts.forEach((e, i) => {
			const r = boxes[i], s = getComputedStyle(e), points = [], box = e.getBBox(), turn = e.getScreenCTM();
			for (let k = 0; k <= 8; k++) for (const h of [0.3, 0.5, 0.7]) {
				const at = new DOMPoint(box.x + box.width * (k + 0.5) / 9, box.y + box.height * h).matrixTransform(turn);
				points.push(layersAt(at.x, at.y, e));
			}
			one.texts.push({text: e.textContent, colour: mixed(s.fill, s.fillOpacity), points, size: r.height});
			if (r.left < edge.left - 1 || r.right > edge.right + 1 || r.top < edge.top - 1 || r.bottom > edge.bottom + 1) one.faults.push('beyond the edge: ' + e.textContent);
			for (let j = 0; j < i; j++) {
				const o = boxes[j], x = Math.min(r.right, o.right) - Math.max(r.left, o.left), y = Math.min(r.bottom, o.bottom) - Math.max(r.top, o.top);
				// A turned text's box is larger than itself.
				const turned = /matrix|rotate/.test((e.getAttribute('transform') || '') + (texts[j].getAttribute('transform') || '')) && [e, texts[j]].some(t => { const m = t.getScreenCTM(); return Math.abs(m.b) > 1e-6; });
				if (!turned && x > 1.5 && y > 3) one.faults.push('"' + texts[j].textContent + '" and "' + e.textContent + '" lie over one another');
			}
		});
		for (const e of shapes) {
			const s = getComputedStyle(e), r = e.getBoundingClientRect();
			if (r.width < 0.5 && r.height < 0.5) continue;
			const stroke = s.stroke === 'none' || parseFloat(s.strokeWidth) === 0 ? [] : paint(s.stroke, s.strokeOpacity);
			one.shapes.push({tag: e.tagName, stroke, fill: paint(s.fill, s.fillOpacity), pattern: isPattern(s.fill), w: r.width, h: r.height, x: r.left - edge.left, y: r.top - edge.top});
		}
		out.push(one);
	}
	return JSON.stringify(out);
})()`

type (
	layer struct {
		Colours []string
		Pattern bool
	}
	drawnText struct {
		Text, Colour string
		Size         float64
		Points       [][]layer
	}
	drawnShape struct {
		Tag          string
		Stroke, Fill []string
		Pattern      bool
		W, H, X, Y   float64
	}
	drawing struct {
		ID     string
		Texts  []drawnText
		Shapes []drawnShape
		Faults []string
	}
)

var white = colour{1, 1, 1, 1}

// behind says every colour that may lie at a point, given the layers over it from
// the topmost to the lowest: a pattern leaves what lies below visible between its
// marks.
func behind(layers []layer) ([]colour, error) {
	if len(layers) == 0 {
		return []colour{white}, nil
	}
	grounds, err := behind(layers[1:])
	if err != nil {
		return nil, err
	}
	var all []colour
	if layers[0].Pattern || len(layers[0].Colours) == 0 {
		all = append(all, grounds...)
	}
	for _, text := range layers[0].Colours {
		c, err := parseColour(text)
		if err != nil {
			return nil, err
		}
		for _, ground := range grounds {
			all = append(all, c.over(ground))
		}
	}
	return all, nil
}

// faint are hues that only help the eye along and carry nothing by themselves: the
// lines of the grid, the light shade of a band or box whose edge is drawn.
var faint = map[string]bool{"rgba(227, 231, 236, 1)": true, "rgba(0, 158, 115, 0.13)": true}

// pale says what of a drawing does not stand out enough, or lies over another.
func (d drawing) pale() (faults []string) {
	faults = append(faults, d.Faults...)
	fault := func(format string, a ...any) { faults = append(faults, fmt.Sprintf(format, a...)) }
	for _, one := range d.Texts {
		ink, err := parseColour(one.Colour)
		if err != nil {
			fault("%v", err)
			continue
		}
		worst := 21.0
		for _, point := range one.Points {
			grounds, err := behind(point)
			if err != nil {
				fault("%v", err)
			}
			for _, ground := range grounds {
				worst = math.Min(worst, contrast(ink.over(ground), ground))
			}
		}
		if worst < textContrast {
			fault("the text %q has a contrast of %.2f with what lies behind it, wanted %.1f", one.Text, worst, textContrast)
		}
	}
	stands := func(texts []string) (best float64) {
		for _, text := range texts {
			if c, err := parseColour(text); err == nil {
				best = math.Max(best, contrast(c.over(white), white))
			}
		}
		return best
	}
	for _, s := range d.Shapes {
		if s.Pattern || len(s.Stroke)+len(s.Fill) == 0 {
			continue // A pattern lies on a shape of its own.
		}
		if (len(s.Stroke) == 0 || faint[s.Stroke[0]]) && (len(s.Fill) == 0 || faint[s.Fill[0]]) {
			continue
		}
		if len(s.Fill) > 0 && len(s.Stroke) == 0 && s.Fill[0] == "rgba(255, 255, 255, 1)" {
			continue // Paper behind a text, or the page's own ground.
		}
		if len(s.Fill) > 0 && strings.HasSuffix(s.Fill[0], ", 0)") && len(s.Stroke) == 0 {
			continue // Nothing is seen of it.
		}
		if best := math.Max(stands(s.Stroke), stands(s.Fill)); best < graphicContrast {
			fault("a %s of %.0f by %.0f at %.0f, %.0f has a contrast of %.2f with the paper, wanted %.1f (stroke %v, fill %v)", s.Tag, s.W, s.H, s.X, s.Y, best, graphicContrast, s.Stroke, s.Fill)
		}
		// A filled shape that has an outline is parted by it from its neighbours.
		if len(s.Stroke) > 0 && len(s.Fill) > 0 && s.W > 3 && s.H > 3 {
			edge, errE := parseColour(s.Stroke[0])
			fill, errF := parseColour(s.Fill[0])
			if errE == nil && errF == nil && s.Stroke[0] != s.Fill[0] && fill[3] > 0.2 && contrast(edge.over(white), fill.over(white)) < graphicContrast {
				fault("a %s of %.0f by %.0f: its outline %v has a contrast of %.2f with its fill %v, wanted %.1f", s.Tag, s.W, s.H, s.Stroke, contrast(edge.over(white), fill.over(white)), s.Fill, graphicContrast)
			}
		}
	}
	return faults
}

// drawings measures every chart of a page.
func (b *tab) drawings() []drawing {
	b.t.Helper()
	var all []drawing
	b.must(json.Unmarshal([]byte(eval[string](b, drawingParts)), &all))
	return all
}

func TestChartsStandOut(t *testing.T) {
	site := demoSite(t)
	for _, name := range []string{"committee", "cases"} {
		t.Run(name, func(t *testing.T) {
			all := open(t, packPages(site, demoMonth)[name], 1280).drawings()
			texts := 0
			for _, d := range all {
				texts += len(d.Texts)
				for _, fault := range d.pale() {
					t.Errorf("%s: %s", d.ID, fault)
				}
			}
			if len(all) < 20 || texts < 100 {
				t.Errorf("%d drawings with %d texts were looked at", len(all), texts)
			}
		})
	}
}

// TestSeriesDifferWithoutHues looks at the legends of charts of bars and of lines:
// no two of a chart may differ by their hue alone. Bars need another pattern, lines
// another dash or sign; in grey, fills of one pattern would need another lightness.
func TestSeriesDifferWithoutHues(t *testing.T) {
	b := open(t, packPages(demoSite(t), demoMonth)["committee"], 1280)
	found := map[string][]string{}
	b.must(json.Unmarshal([]byte(eval[string](b, seriesLooks)), &found))
	if len(found) < 15 {
		t.Errorf("%d charts with a legend were looked at", len(found))
	}
	for id, looks := range found {
		for _, fault := range alike(looks) {
			t.Errorf("%s: %s", id, fault)
		}
	}
}

// alike lists looks that stand twice.
func alike(looks []string) (faults []string) {
	seen := map[string]bool{}
	for _, look := range looks {
		if seen[look] {
			faults = append(faults, "two series look alike without their hues: "+look)
		}
		seen[look] = true
	}
	return faults
}

// seriesLooks tells, for each chart with a legend of two items or more, how each of them
// looks without its hue: the forms of its sign, with dashes and turns.
const seriesLooks = `(() => {
	const out = {};
	for (const list of document.querySelectorAll('article .legend')) {
		const signs = [...list.querySelectorAll('li > svg')];
		if (signs.length > 1) out[list.closest('article').id] = signs.map(e => e.innerHTML.replace(/#[0-9a-fA-F]{3,8}/g, ''));
	}
	return JSON.stringify(out);
})()`

// TestContrastChecksCanFail feeds the measures with a drawing that is wrong in each way.
func TestContrastChecksCanFail(t *testing.T) {
	const text = `<text x="20" y="40" font-size="12" fill="#111a24">dark text</text>`
	for what, one := range map[string]struct {
		svg   string
		fault bool
	}{
		"a good one":                    {text + `<rect x="100" y="10" width="40" height="40" fill="#E69F00" stroke="#111a24"/>`, false},
		"pale text":                     {`<text x="20" y="40" font-size="12" fill="#999">pale</text>`, true},
		"text on a dark bar":            {`<rect x="10" y="20" width="90" height="40" fill="#0072B2" stroke="#111a24"/>` + text, true},
		"text on a pattern's marks":     {`<defs><pattern id="p" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="2" height="2" fill="#111a24"/></pattern></defs><rect x="10" y="20" width="90" height="40" fill="#fff" stroke="#111a24"/><rect x="10" y="20" width="90" height="40" fill="url(#p)"/>` + text, true},
		"text crossed by a line":        {text + `<path d="M0 37 L200 37" stroke="#111a24" stroke-width="3" fill="none"/>`, true},
		"a pale bar without an outline": {text + `<rect x="100" y="10" width="40" height="40" fill="#E69F00"/>`, true},
		"a dark bar, a dark outline":    {text + `<rect x="100" y="10" width="40" height="40" fill="#0b3d5c" stroke="#111a24"/>`, true},
		"a pale line":                   {text + `<path d="M100 10 L190 60" stroke="#56B4E9" stroke-width="2" fill="none"/>`, true},
		"texts over one another":        {text + `<text x="40" y="42" font-size="12" fill="#111a24">another</text>`, true},
		"text beyond the edge":          {`<text x="180" y="40" font-size="12" fill="#111a24">cut off here</text>`, true},
	} {
		b := open(t, pageOf(t, `<html lang="en"><title>x</title><article id="a"><svg role="img" viewBox="0 0 200 100" width="200" height="100">`+one.svg+`</svg></article>`), 800)
		var faults []string
		for _, d := range b.drawings() {
			faults = append(faults, d.pale()...)
		}
		if (len(faults) > 0) != one.fault {
			t.Errorf("%s: %v", what, faults)
		}
	}
	if len(alike([]string{"a", "b", "a"})) != 1 {
		t.Error("two series that look alike are not noticed")
	}
}
