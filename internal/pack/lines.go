package pack

import (
	"thawline/internal/chart"
	"thawline/internal/figure"
)

// lines adds what statistics put on a chart: limits, a funnel, fitted lines; and
// says in notes what they are.
func (fs *figures) lines(p figure.Panel, f *figure.Figure, look *chart.Look, out *panel) {
	in := fs.in
	baseline, _ := in.policy.Number("baseline_months")
	run, _ := in.policy.Number("run_length")
	switch p.Chart {
	case "rate":
		f.AddRate(p.Y[0], p.Y[1], p.Per, in.w("rate_of", in.format.Number(p.Per, 0)))
		out.Interval = f.RateInterval(p, in.format)
		out.Notes = append(out.Notes, in.w("rate_note"))
		look.Limits = f.Control(p.Y[0], p.Y[1], p.Per, int(baseline), int(run), in.format)
		fs.limits(p, f, look.Limits, out, int(baseline))
	case "control":
		look.Limits = f.Control(p.Y[0], p.Y[1], 0, int(baseline), int(run), in.format)
		fs.limits(p, f, look.Limits, out, int(baseline))
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
		if fit == nil {
			out.Says = why // Which says why there is no line, too.
			return
		}
		out.Says = f.Say(p, in.format, in.when())
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

// limits adds a control chart's lines to the figure, and its signals to those of
// the pack.
func (fs *figures) limits(p figure.Panel, f *figure.Figure, l *figure.Limits, out *panel, baseline int) {
	in := fs.in
	if l == nil {
		out.Notes = append(out.Notes, in.w("no_limits"))
		return
	}
	f.AddLimits(l, in.format)
	note := in.w("limits_note", baseline)
	if l.Widened > 0 {
		note += " " + in.w("widened", in.format.Number(l.Widened, 2))
	}
	out.Notes = append(out.Notes, note)
	month := f.Index(p.X)
	for r, words := range l.Words {
		if m, _ := f.Rows[r][month].Value.(string); words != "" && m >= in.from && !l.GoesOn(r) {
			fs.signals = append(fs.signals, signal{p.Figure, in.w("signal_of", in.format.Month(m), words), in.w("signal_at", out.Asks, in.format.Month(m), words)})
		}
	}
}
