package figure

import (
	"math"
	"strings"

	"thawline/internal/stat"
)

// funnelPlaces are the probabilities of the limits, 95 % and 99.8 %.
var funnelPlaces = [...]struct {
	name string
	p    float64
}{
	{"lower_998", 0.001}, {"lower_95", 0.025}, {"upper_95", 0.975}, {"upper_998", 0.999},
}

// winsorised is the share of places drawn in at each end before their spread is
// taken (Spiegelhalter 2005), so that true outliers do not hide themselves.
const winsorised = 0.1

// Funnel is what a funnel plot stands on: the whole's own share, and how much
// places differ beyond chance.
type Funnel struct {
	stat.Dispersion
	// Target is the whole's own share.
	Target float64
	// Outside names the rows outside the 99.8 % limits, Outside95 those outside the 95 %
	// limits alone.
	Outside, Outside95 []string
}

// Share is the limit at probability p for n episodes.
func (l *Funnel) Share(n int, p float64) float64 { return l.Limit(l.Target, n, p) }

// AddFunnel adds limits around the answer's own share n of of, after disclosure,
// and a column that names the rows outside them: exact binomial limits, widened
// where the rows that are shown differ by more than chance. It returns nil where
// the share of the whole is not there or hidden.
func (f *Figure) AddFunnel(label, n, of string, format Format) *Funnel {
	whole, okN := f.Whole("n")
	all, okOf := f.Whole("of")
	if !okN || !okOf || all == 0 {
		return nil
	}
	name, a, b := f.Index(label), f.Index(n), f.Index(of)
	var counts, sizes []float64
	for _, row := range f.Rows {
		x, okX := row[a].Value.(int64)
		size, okSize := row[b].Value.(int64)
		if okX && okSize && size > 0 {
			counts, sizes = append(counts, float64(x)), append(sizes, float64(size))
		}
	}
	l := &Funnel{Target: float64(whole) / float64(all)}
	l.Dispersion = stat.Overdispersion(counts, sizes, l.Target, winsorised)
	d := *f.Definition
	d.Points = d.Points[:len(d.Points):len(d.Points)]
	for _, one := range funnelPlaces {
		d.Points = append(d.Points, Column{Name: one.name, Kind: Share, Title: format.Say(one.name)})
	}
	d.Points = append(d.Points, Column{Name: "outside", Kind: Label, Title: format.Say("outside")})
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
			limits[i] = l.Share(int(size), one.p)
			row = append(row, Cell{Value: limits[i]})
		}
		word, s := Cell{}, ""
		s, _ = row[name].Value.(string)
		switch {
		case l.Dispersion.Outside(l.Target, int(x), int(size), funnelPlaces[0].p):
			word.Value, l.Outside = format.Say("limit_998"), append(l.Outside, s)
		case l.Dispersion.Outside(l.Target, int(x), int(size), funnelPlaces[1].p):
			word.Value, l.Outside95 = format.Say("limit_95"), append(l.Outside95, s)
		}
		f.Rows[r] = append(row, word)
	}
	return l
}

// Words says what the limits are and which rows lie outside.
func (l *Funnel) Words(format Format) (all []string) {
	named := func(key string, names []string) {
		if len(names) == 0 {
			return
		}
		isolated := make([]string, len(names))
		for i, name := range names {
			isolated[i] = Isolated(name)
		}
		all = append(all, format.Say(key, strings.Join(isolated, ", ")))
	}
	named("funnel_outside", l.Outside)
	if len(l.Outside) == 0 {
		all = append(all, format.Say("funnel_inside"))
	}
	named("funnel_outside_95", l.Outside95)
	switch {
	case l.Beyond():
		all = append(all, format.Say("funnel_widened", format.Number(math.Sqrt(l.Phi), 2)))
	case l.Places < stat.LeastPlaces:
		all = append(all, format.Say("funnel_few", l.Places, stat.LeastPlaces))
	default:
		all = append(all, format.Say("funnel_exact"))
	}
	return append(all, format.Say("funnel_asks"))
}
