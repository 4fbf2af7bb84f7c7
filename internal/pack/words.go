package pack

import "thawline/internal/figure"

// w writes words of the pack's language.
func (in *input) w(key string, args ...any) string { return in.format.Say(key, args...) }

// said gives what a figure or dashboard says in the pack's language; the numbers in what
// a site says itself stand as it wrote them.
func (in *input) said(english string, local bool) string {
	if local {
		return in.format.Text(english)
	}
	return in.format.Own(english)
}

// speak sets the language, and gives the dashboard and its figures in it.
func (in *input) speak(d *figure.Dashboard, defined map[string]*figure.Definition) {
	for i := range d.Sections {
		for _, text := range sectionTexts(&d.Sections[i]) {
			*text = in.said(*text, d.Sections[i].Local)
		}
	}
	for _, f := range defined {
		for _, text := range definitionTexts(f) {
			*text = in.said(*text, f.Local)
		}
	}
}

// sectionTexts are the texts of a section and its panels.
func sectionTexts(s *figure.Section) []*string {
	all := []*string{&s.Section, &s.Intro, &s.NotRun}
	for j := range s.Panels {
		p := &s.Panels[j]
		all = append(all, &p.Asks, &p.Says, &p.SaysNone, &p.SaysZero, &p.Unit, &p.XTitle, &p.Beside, &p.Note)
		for k := range p.Without {
			all = append(all, &p.Without[k].Says, &p.Without[k].SaysNone, &p.Without[k].Adds)
		}
	}
	return all
}

// definitionTexts are the texts of a figure's header.
func definitionTexts(f *figure.Definition) []*string {
	all := []*string{&f.Asks, &f.NotKnown}
	for _, columns := range [][]figure.Column{f.Points, f.Answer} {
		for i := range columns {
			all = append(all, &columns[i].Title)
		}
	}
	return all
}
