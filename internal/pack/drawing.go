package pack

import (
	"html/template"

	"thawline/internal/chart"
	"thawline/internal/figure"
)

// drawing is a chart that is being drawn while the next queries run.
type drawing struct {
	done  chan struct{}
	drawn *chart.Drawn
	err   error
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

// drawnInto waits for the drawings and puts each into its panel.
func (fs *figures) drawnInto(p *page) error {
	for s := range p.Sections {
		for i := range p.Sections[s].Panels {
			one := &p.Sections[s].Panels[i]
			d := fs.drawings[one.ID]
			if d == nil {
				continue
			}
			<-d.done
			if d.err != nil {
				return d.err
			}
			// Draw checks that nothing in it acts; every text in it is escaped.
			one.SVG, one.Scale = template.HTML(d.drawn.SVG), template.HTML(d.drawn.Scale)
			one.Legend, one.Over, one.Foot = d.drawn.Legend, d.drawn.Over, d.drawn.Under
		}
	}
	return nil
}
