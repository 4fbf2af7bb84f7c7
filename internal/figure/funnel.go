package figure

import "thawline/internal/stat"

// funnelPlaces are the probabilities of the limits, 95 % and 99.8 %.
var funnelPlaces = [...]struct {
	name, title string
	p           float64
}{
	{"lower_998", "Lower 99.8 %", 0.001}, {"lower_95", "Lower 95 %", 0.025}, {"upper_95", "Upper 95 %", 0.975}, {"upper_998", "Upper 99.8 %", 0.999},
}

// AddFunnel adds exact binomial limits around the answer's own share n of of,
// after disclosure, and a column that names the rows outside them. It returns
// the names of the rows outside the 99.8 % limits, and false where the share of
// the whole is not there or hidden.
func (f *Figure) AddFunnel(label, n, of string) (outside []string, ok bool) {
	whole, okN := f.Whole("n")
	all, okOf := f.Whole("of")
	if !okN || !okOf || all == 0 {
		return nil, false
	}
	target := float64(whole) / float64(all)
	d := *f.Definition
	d.Points = d.Points[:len(d.Points):len(d.Points)]
	for _, one := range funnelPlaces {
		d.Points = append(d.Points, Column{Name: one.name, Kind: Share, Title: one.title})
	}
	d.Points = append(d.Points, Column{Name: "outside", Kind: Label, Title: "Outside"})
	name, a, b := f.Index(label), f.Index(n), f.Index(of)
	f.Definition = &d
	for r, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		size, okSize := row[b].Value.(int64)
		if !okX || !okSize || size == 0 {
			f.Rows[r] = append(row, Cell{}, Cell{}, Cell{}, Cell{}, Cell{})
			continue
		}
		limits := make([]float64, len(funnelPlaces))
		for i, one := range funnelPlaces {
			limits[i] = stat.FunnelLimit(target, int(size), one.p)
			row = append(row, Cell{Value: limits[i]})
		}
		share, word := float64(x)/float64(size), Cell{}
		switch {
		case share < limits[0] || share > limits[3]:
			word.Value = "99.8 % limit"
			if s, isText := row[name].Value.(string); isText {
				outside = append(outside, s)
			}
		case share < limits[1] || share > limits[2]:
			word.Value = "95 % limit"
		}
		f.Rows[r] = append(row, word)
	}
	return outside, true
}
