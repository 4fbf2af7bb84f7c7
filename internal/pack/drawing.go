package pack

import (
	"fmt"
	"html/template"
	"strings"

	"thawline/internal/chart"
	"thawline/internal/figure"
)

// drawing is a chart that is being drawn while the next queries run.
type drawing struct {
	done  chan struct{}
	drawn *chart.Drawn
	err   error
	// of is the panel that it stands in.
	of *panel
}

// draw starts a panel's drawing. The figure must not change from here on.
func (fs *figures) draw(id string, f *figure.Figure, p figure.Panel, look chart.Look) {
	d := &drawing{done: make(chan struct{})}
	fs.drawings[id] = d
	go func() {
		defer close(d.done)
		d.drawn, d.err = fs.drawn.Draw(f, p, look)
	}()
}

// figureHere stands in the page, with the panel's identifier, where its chart comes. No
// data can say it: signs of markup in data are escaped.
const figureHere = "<!--figure "

// placed marks where each drawing comes.
func (fs *figures) placed(p *page) {
	for s := range p.Sections {
		for i := range p.Sections[s].Panels {
			one := &p.Sections[s].Panels[i]
			if d := fs.drawings[one.ID]; d != nil {
				d.of, one.Figure = one, template.HTML(figureHere+one.ID+"-->")
			}
		}
	}
}

// drawnInto puts each drawing into its place in the page, as soon as it is there.
func (fs *figures) drawnInto(t *template.Template, page string) ([]byte, error) {
	var out []byte
	for {
		before, rest, found := strings.Cut(page, figureHere)
		out = append(out, held(before)...)
		if !found {
			return out, nil
		}
		var id string
		id, page, _ = strings.Cut(rest, "-->")
		d := fs.drawings[id]
		if d == nil || d.of == nil {
			return nil, fmt.Errorf("template committee: no drawing %q", id)
		}
		<-d.done
		if d.err != nil {
			return nil, d.err
		}
		one := d.of
		// Draw checks that nothing in it acts; every text in it is escaped.
		one.SVG, one.Scale = template.HTML(d.drawn.SVG), template.HTML(d.drawn.Scale)
		one.Legend, one.Over, one.Foot = d.drawn.Legend, d.drawn.Over, d.drawn.Under
		figure, err := filled(t, "figure", one)
		if err != nil {
			return nil, err
		}
		out = append(out, held(figure)...)
	}
}
