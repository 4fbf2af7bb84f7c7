package figure

import (
	"math"
	"strings"

	"thawline/internal/stat"
)

// funnelPlaces are the probabilities of the limits, 95 % and 99.8 %.
var funnelPlaces = [...]struct {
	name, title string
	p           float64
}{
	{"lower_998", "Lower 99.8 %", 0.001}, {"lower_95", "Lower 95 %", 0.025}, {"upper_95", "Upper 95 %", 0.975}, {"upper_998", "Upper 99.8 %", 0.999},
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
	// Outside names the rows outside the 99.8 % limits.
	Outside []string
}

// Share is the limit at probability p for n episodes.
func (l *Funnel) Share(n int, p float64) float64 { return l.Limit(l.Target, n, p) }

// AddFunnel adds limits around the answer's own share n of of, after disclosure,
// and a column that names the rows outside them: exact binomial limits, widened
// where the rows that are shown differ by more than chance. It returns nil where
// the share of the whole is not there or hidden.
func (f *Figure) AddFunnel(label, n, of string) *Funnel {
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
		d.Points = append(d.Points, Column{Name: one.name, Kind: Share, Title: one.title})
	}
	d.Points = append(d.Points, Column{Name: "outside", Kind: Label, Title: "Outside"})
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
		share, word := float64(x)/float64(size), Cell{}
		switch {
		case share < limits[0] || share > limits[3]:
			word.Value = "99.8 % limit"
			if s, isText := row[name].Value.(string); isText {
				l.Outside = append(l.Outside, s)
			}
		case share < limits[1] || share > limits[2]:
			word.Value = "95 % limit"
		}
		f.Rows[r] = append(row, word)
	}
	return l
}

// Words says what the limits are and which rows lie outside.
func (l *Funnel) Words(format Format) []string {
	limits := "Limits are exact for chance alone: places differ no more than it lets them."
	if l.Beyond() {
		limits = "Places differ by more than chance alone would make them: the exact limits are widened by " + format.Number(math.Sqrt(l.Phi), 2) +
			" (Spiegelhalter 2005: the square root of the mean squared distance, the outer tenth of the places drawn in)."
	}
	outside := "No place that is shown lies outside the 99.8 % limits."
	if len(l.Outside) > 0 {
		outside = "Outside the 99.8 % limits: " + strings.Join(l.Outside, ", ") + ". A prompt to look, not a verdict."
	}
	return []string{outside, limits}
}
