package pack

import (
	"path/filepath"
	"strings"
	"time"

	"thawline/internal/figure"
	"thawline/internal/site"
	"thawline/internal/stat"
)

// decided is a decision as the page shows it.
type decided struct {
	Date, Decision, Owner, Due, Done, Figure, Before, Since, Says string
	Overdue                                                       bool
}

// aims lists the figures that a decision may aim at, with the panel of each:
// those drawn as a control chart, a share month by month.
func aims(d *figure.Dashboard) (names []string, panels map[string]figure.Panel) {
	panels = map[string]figure.Panel{}
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			if _, twice := panels[p.Figure]; p.Chart == "control" && !twice {
				names, panels[p.Figure] = append(names, p.Figure), p
			}
		}
	}
	return names, panels
}

// CheckDecisions reads the site's decisions and says every fault in them, with
// its place; n counts them.
func CheckDecisions(s *site.Site) (n int, err error) {
	d, _, err := panels([]sitePanels{{filepath.Join(s.Dir, ownPanels)}})
	if err != nil {
		return 0, err
	}
	names, _ := aims(d)
	all, err := s.LoadDecisions(names)
	return len(all), err
}

// decisions tells each decision made by the report date, and whether the figure
// that it aims at has moved since: since it was done, else since it was decided.
func (fs *figures) decisions(d *figure.Dashboard) []decided {
	in := fs.in
	_, panels := aims(d)
	var all []decided
	for _, one := range in.decided {
		if day(one.Date) > in.today {
			continue
		}
		out := decided{Date: day(one.Date), Decision: one.Decision, Owner: one.Owner, Due: day(one.Due), Done: day(one.Done)}
		if out.Done > in.today {
			out.Done = ""
		}
		out.Overdue = out.Done == "" && out.Due != "" && out.Due < in.today
		p, found := panels[one.Figure]
		f := fs.whole[one.Figure]
		if one.Figure == "" || !found || f == nil {
			out.Says = in.w("aims_at_none")
			all = append(all, out)
			continue
		}
		out.Figure = p.Asks
		if out.Figure == "" {
			out.Figure = f.Asks
		}
		from, after := out.Done, "_since_done"
		if from == "" {
			from, after = out.Date, "_since_decided"
		}
		c := f.Since(p.X, p.Y[0], p.Y[1], month(from), fs.limits[one.Figure])
		out.Before, out.Since = in.side(c.Before), in.side(c.After)
		if out.Says = in.moved(c.Moved, c.Difference, after); c.Moved == figure.TooFewMonths {
			out.Says = in.w("too_few"+after, c.Before.Months, c.After.Months)
		}
		for i, m := range c.Beyond {
			c.Beyond[i] = in.format.Month(m)
		}
		if len(c.Beyond) > 0 {
			out.Says += " " + in.w("beyond_months", strings.Join(c.Beyond, ", "))
		}
		if c.Without != nil {
			out.Says += " " + in.w("without_month", in.format.Month(c.Without.Month), in.moved(c.Without.Moved, c.Without.Difference, after))
		}
		for _, one := range f.Breaks() {
			if one.First() <= in.to {
				out.Says += " " + in.w("decision_policy", one.Day, one.Words)
			}
		}
		if f.Points[f.Index(p.Y[0])].Kind == figure.Units {
			out.Says += " " + in.w("units_cluster")
		}
		all = append(all, out)
	}
	for i := range all {
		for _, at := range []*string{&all[i].Date, &all[i].Due, &all[i].Done} {
			*at = in.dayOf(*at)
		}
	}
	return all
}

// moved says whether a share moved.
func (in *input) moved(moved figure.Moved, difference stat.Interval, after string) string {
	switch moved {
	case figure.Rose:
		return in.w("higher"+after, in.points(difference.Low, difference.High))
	case figure.Fell:
		return in.w("lower"+after, in.points(-difference.High, -difference.Low))
	}
	return in.w("not_moved"+after, in.points(difference.Low, difference.High))
}

// points writes an interval of a difference of shares.
func (in *input) points(low, high float64) string {
	return in.w("percentage_points", in.format.Number(low*100, 1), in.format.Number(high*100, 1))
}

// side writes one side of a change.
func (in *input) side(s figure.Side) string {
	share, interval, ok := s.Share()
	if !ok {
		return "–"
	}
	return in.w("side", in.format.Percent(share), in.format.Percent(interval.Low), in.format.Percent(interval.High),
		in.format.Whole(s.N), in.format.Whole(s.Of), s.Months)
}

// day writes a date, empty where there is none.
func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// dayOf writes a date YYYY-MM-DD in the site's form.
func (in *input) dayOf(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return in.format.Day(t)
}

// reportDate is the date that the pack shows.
func (in *input) reportDate() string { return in.dayOf(in.today) }
