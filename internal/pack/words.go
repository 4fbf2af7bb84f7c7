package pack

import "thawline/internal/figure"

// w writes words of the pack's language.
func (in *input) w(key string, args ...any) string { return in.format.Say(key, args...) }

// speak sets the language, and gives the dashboard and its figures in it.
func (in *input) speak(d *figure.Dashboard, defined map[string]*figure.Definition) {
	for i := range d.Sections {
		s := &d.Sections[i]
		for _, text := range []*string{&s.Section, &s.Intro, &s.NotRun} {
			*text = in.format.Text(*text)
		}
		for j := range s.Panels {
			p := &s.Panels[j]
			for _, text := range []*string{&p.Asks, &p.Says, &p.SaysNone, &p.SaysZero, &p.Hidden, &p.Unit, &p.XTitle, &p.Beside, &p.Note} {
				*text = in.format.Text(*text)
			}
			for k := range p.Without {
				for _, text := range []*string{&p.Without[k].Says, &p.Without[k].SaysNone, &p.Without[k].Adds} {
					*text = in.format.Text(*text)
				}
			}
		}
	}
	for _, f := range defined {
		f.Asks, f.NotKnown = in.format.Text(f.Asks), in.format.Text(f.NotKnown)
		for _, columns := range [][]figure.Column{f.Points, f.Answer} {
			for i := range columns {
				columns[i].Title = in.format.Text(columns[i].Title)
			}
		}
	}
}
