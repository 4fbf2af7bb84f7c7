package chart

import "thawline/internal/figure"

// Told counts the rows of which a chart draws something that is shown: a length, a
// place, or that it is nought.
func Told(f *figure.Figure, p figure.Panel) (n int) {
	told := func(row []figure.Cell, names ...string) bool {
		for _, name := range names {
			if i := f.Index(name); i < 0 || row[i].Value == nil {
				return false
			}
		}
		return true
	}
	some := func(row []figure.Cell, names ...string) bool {
		for _, name := range names {
			if told(row, name) {
				return true
			}
		}
		return false
	}
	all := stacksOf(f, p)
	for r, row := range f.Rows {
		yes := false
		switch p.Chart {
		case "bubbles":
			yes = some(row, p.Y...)
		case "stacked", "bars", "histogram", "rows":
			// Noughts beside hidden parts are no bar.
			yes = some(row, p.Y...) && (!all.hidden[r] || all.shown[r] > 0) || all.rest[r] > 0
		case "control", "rate", "between":
			_, yes = controlled(f, p, row)
		case "shares", "funnel":
			of, _ := row[f.Index(p.Y[1])].Value.(int64)
			yes = told(row, p.Y[0]) && of > 0
		case "quartiles":
			yes = told(row, p.Y[:3]...)
		case "effect":
			yes = told(row, p.X, "after")
		case "before_after":
			yes = told(row, "share")
		default:
			yes = some(row, p.Y...)
		}
		if yes {
			n++
		}
	}
	return n
}
