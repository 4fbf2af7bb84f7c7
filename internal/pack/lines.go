package pack

import (
	"math"
	"strings"

	"thawline/internal/chart"
	"thawline/internal/figure"
)

// lines adds what statistics put on a chart: limits, a funnel, fitted lines; and
// says in notes what they are.
func (fs *figures) lines(p figure.Panel, f *figure.Figure, look *chart.Look, out *panel) {
	in := fs.in
	run, _ := in.policy.Number("run_length")
	switch p.Chart {
	case "rate":
		f.AddRate(p.Y[0], p.Y[1], p.Per, in.w("rate_of", in.format.Number(p.Per, 0)))
		out.Interval = f.RateInterval(p, in.format)
		out.Notes = append(out.Notes, in.w("rate_note"))
		look.Limits = fs.control(p, f, int(run), out)
	case "control":
		look.Limits = fs.control(p, f, int(run), out)
	case "shares":
		look.Intervals = f.AddIntervals(p.Y[0], p.Y[1], in.format)
	case "between":
		if look.Limits = f.Between(p.Y[0], int(run), in.format); look.Limits == nil {
			out.TooFew = in.w("between_too_few")
			return
		}
		f.AddLimits(look.Limits, in.format)
		out.Notes = append(out.Notes, in.w("between_note"))
	case "before_after":
		fit, why := f.AddBeforeAfter(p.X, p.Y[0], p.Y[1], in.interventions, in.format)
		undrawn := f.RowsBefore(p.X, in.historyFrom)
		if fit == nil {
			f.DropRows(undrawn)
			out.Says = why // Which says why there is no line, too.
			out.Notes = append(out.Notes, in.changedPolicy(f)...)
			return
		}
		out.Says = f.Say(p, in.format, in.when())
		out.Notes = append(out.Notes, in.changedPolicy(f)...)
		// The picture is of the months that are drawn elsewhere, and of those that the
		// lines are fitted to; of the latter alone where they are long past.
		if fit.To <= undrawn {
			f.Rows = f.Rows[:fit.To]
		}
		f.DropRows(min(undrawn, fit.From))
		look.Says = out.Says
		out.Notes = append(out.Notes, in.w("before_after_note", fit.Lag))
	case "funnel":
		if look.Funnel = f.AddFunnel(p.X, p.Y[0], p.Y[1], in.format); look.Funnel == nil {
			out.TooFew = in.w("funnel_too_few")
			return
		}
		out.Notes = append(out.Notes, look.Funnel.Words(in.format)...)
	}
}

// control adds a control chart's lines to the figure, its signals to those of the pack,
// and says in notes what the lines are.
func (fs *figures) control(p figure.Panel, f *figure.Figure, run int, out *panel) *figure.Limits {
	in := fs.in
	l, drawn := f.Control(p.Y[0], p.Y[1], p.Per, run, in.format)
	breaks := f.Breaks()
	out.Notes = append(out.Notes, in.changedPolicy(f)...)
	for i, part := range l.Parts {
		note := in.partNote(p, part)
		if i > 0 {
			note = in.w("since_policy", in.format.Month(breaks[i-1].Month), note)
		}
		out.Notes = append(out.Notes, note)
	}
	if last := l.Parts[len(l.Parts)-1]; !last.Drawn {
		fs.early[p.Figure] = in.w("answer_too_early", last.Months, last.Wanted)
		if len(l.Parts) > 1 {
			fs.early[p.Figure] = in.w("answer_too_early_policy", in.format.Month(breaks[len(breaks)-1].Month), breaks[len(breaks)-1].Words, last.Months, last.Wanted)
		}
	}
	fs.limits[p.Figure] = nil
	if drawn {
		f.AddLimits(l, in.format)
		fs.limits[p.Figure] = l
		fs.tell(p, f, l, out.Asks)
	} else {
		l = nil
	}
	fs.whole[p.Figure] = f.Copy()
	return l
}

// tell tells the signals of the period's months, and which of them are hidden.
func (fs *figures) tell(p figure.Panel, f *figure.Figure, l *figure.Limits, asks string) {
	in := fs.in
	month, n, of := f.Index(p.X), f.Index(p.Y[0]), f.Index(p.Y[1])
	var unseen []string
	for r, words := range l.Words {
		m, _ := f.Rows[r][month].Value.(string)
		if m < in.from {
			continue
		}
		if words != "" && !l.GoesOn(r) {
			fs.signals = append(fs.signals, signal{p.Figure, in.w("signal_of", in.format.Month(m), words), in.w("signal_at", asks, in.format.Month(m), words)})
		}
		if (f.Rows[r][n].Hidden || f.Rows[r][of].Hidden) && !math.IsNaN(l.Centre[r]) {
			unseen = append(unseen, in.format.Month(m))
		}
	}
	if len(unseen) > 0 {
		fs.unseen = append(fs.unseen, in.w("signal_hidden", asks, strings.Join(unseen, ", ")))
	}
}

// partNote says what the lines of a stretch of months are, or why there are none.
func (in *input) partNote(p figure.Panel, part figure.Part) string {
	switch {
	case !part.Drawn && part.Shown < part.Months && part.Months >= part.Wanted:
		return in.w("no_limits_hidden", part.Shown, part.Months)
	case !part.Drawn && part.Stated:
		return in.w("no_limits_stated", in.site.Baseline.To)
	case !part.Drawn:
		return in.w("no_limits", part.Wanted, part.Months)
	}
	key := "base_first"
	switch {
	case part.Stated && part.Shown == part.Months:
		key = "base_stated"
	case part.Stated:
		key = "base_stated_shown"
	case part.Shown < part.Months:
		key = "base_first_shown"
	}
	counts := "of"
	if p.Chart == "rate" {
		counts = "against"
	}
	made := in.w(key, part.Months, part.Shown, in.w(counts, in.format.Whole(part.N), in.format.Whole(part.Of)))
	note := in.w("limits_note", in.periodOf(part.First, part.Last), made)
	if part.Widened > 0 {
		note += " " + in.w("widened", in.format.Number(part.Widened, 2))
	}
	return note
}

// changedPolicy says where values of the policy changed that a chart's numbers turn on.
func (in *input) changedPolicy(f *figure.Figure) (all []string) {
	for _, one := range f.Breaks() {
		if one.First() <= in.to {
			all = append(all, in.w("policy_changed", one.Day, one.Words))
		}
	}
	return all
}
