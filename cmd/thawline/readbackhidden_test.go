package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"thawline/internal/figure"
)

// The words of what is hidden: of pieces and columns in a legend, beside lying bars,
// and of a bar that is longer than what is shown of it.
const (
	sizedName  = "hidden parts, together"
	openName   = "hidden: anywhere in the column"
	hiddenWord = "hidden"
	moreHidden = "+ hidden"
)

// lyingChart says that the rows of a chart stand under each other.
func lyingChart(p figure.Panel) bool { return p.Chart == "rows" || p.Chart == "shares" }

// barsChart says that a chart is of bars, which may be stacked.
func barsChart(p figure.Panel) bool {
	return slices.Contains([]string{"bars", "histogram", "stacked", "rows"}, p.Chart)
}

// checkHidden looks at what stands for hidden values. Among standing bars and points it
// is a column that reaches over all of the picture that the row leaves free, beside
// lying bars a word, and in a stack whose hidden parts are told together, or the first
// of them, a piece of that length. Nothing of it has a length that is less than the value may be.
func checkHidden(id string, a *article, p figure.Panel, w wanted, drawn shapes, axis scale) (wrong []string) {
	fault := func(format string, x ...any) { wrong = append(wrong, id+": "+fmt.Sprintf(format, x...)) }
	if slices.Contains([]string{"effect", "funnel", "bubbles"}, p.Chart) {
		return nil // A place that is hidden has none in the picture, or a diamond (checkBubbles).
	}
	near := 1.1 / math.Abs(axis.perUnit)
	marked, pieces, columns, words := map[int]bool{}, 0, 0, 0
	shown, firsts, piece, column := map[int]float64{}, map[int][]float64{}, map[int]float64{}, map[int]bool{}
	for r := range w.rows {
		if !barsChart(p) {
			break
		}
		together := 0.0
		for _, name := range p.Y {
			at := slices.Index(w.heads, head(p, name))
			switch x := numberOf(w.rows[r][at]); {
			case isHidden(a, r, head(p, name)):
				together += x
				firsts[r] = append(firsts[r], together)
			case !math.IsNaN(x):
				shown[r] += x
			}
		}
	}
	// A piece is as long as all that is hidden of its row, or the first columns of that
	// (the marks of those judged): a column stands on it, then.
	for key, length := range drawn.bars {
		for i, x := range firsts[key[1]] {
			if len(p.Y) > 1 && barsChart(p) && i > 0 && math.Abs(length-x) <= near {
				piece[key[1]] = max(x, piece[key[1]])
			}
		}
	}
	for key, length := range drawn.bars {
		delete(drawn.bars, key)
		r := key[1]
		marked[r] = true
		free := axis.last - math.Min(axis.first, 0) - shown[r]
		switch {
		case !lyingChart(p) && math.Abs(length-free+piece[r]) <= near, !lyingChart(p) && math.Abs(length-free) <= near:
			columns++
			column[r] = true
		case piece[r] > 0 && math.Abs(length-piece[r]) <= near:
			pieces++
		case lyingChart(p) && length == 0:
			words++
		default:
			fault("row %d: what is hidden is drawn as %.2f, neither as much as it is (%.0f), nor up to the end of the axis at %.2f", r+1, length, firsts[r], axis.last)
		}
	}
	for r, length := range piece {
		if open := length < firsts[r][len(firsts[r])-1]; open != column[r] {
			fault("row %d: what is hidden beyond a piece of %.0f is drawn %t, wanted %t", r+1, length, column[r], open)
		}
	}
	for r := range a.rows {
		hidden := slices.ContainsFunc(p.Y, func(name string) bool { return isHidden(a, r, head(p, name)) })
		if hidden != marked[r] {
			fault("row %d holds a hidden value %t, drawn as one %t", r+1, hidden, marked[r])
		}
	}
	if n := hiddenWords(a); n != words {
		fault("%d words for %d rows of which something is hidden", n, words)
	}
	for name, there := range map[string]bool{sizedName: pieces > 0, openName: columns > 0} {
		if slices.Contains(a.legend, name) != there {
			fault("the legend says %q %t, and the chart has it %t", name, !there, there)
		}
	}
	return wrong
}

// hiddenWords counts the words beside lying bars.
func hiddenWords(a *article) (n int) {
	for _, label := range find(a.svg, "text", "") {
		if isLabel(label) && isHiddenWord(plainText(label)) {
			n++
		}
	}
	return n
}

func isHiddenWord(text string) bool { return text == hiddenWord || text == moreHidden }

// checkAround looks at the names of axes and series around a drawing, and at the
// numbers of its scale that stand where it is scrolled.
func checkAround(a *article, p figure.Panel) (wrong []string) {
	over, under := p.Unit, p.XTitle
	if lyingChart(p) {
		over, under = "", p.Unit
	}
	if a.over != over || a.under != under {
		wrong = append(wrong, fmt.Sprintf("the axes are called %q and %q, wanted %q and %q", a.over, a.under, over, under))
	}
	if barsChart(p) && len(p.Y) > 1 {
		var names []string
		for _, name := range p.Y {
			names = append(names, head(p, name))
		}
		if len(a.legend) < len(names) || !slices.Equal(a.legend[:len(names)], names) {
			wrong = append(wrong, fmt.Sprintf("the legend reads %q, wanted %q", a.legend, names))
		}
	}
	if lyingChart(p) != (a.scale == nil) {
		return append(wrong, "a chart that is scrolled has no scale that stands, or a lying one has")
	}
	if a.scale == nil {
		return wrong
	}
	var stand, ticks []string
	for _, n := range find(a.scale, "text", "") {
		stand = append(stand, attr(n, "x")+" "+attr(n, "y")+" "+plainText(n))
	}
	for _, n := range find(a.svg, "text", "") {
		if m := translated.FindStringSubmatch(attr(n, "transform")); m != nil && attr(n, "text-anchor") == "end" && attr(n, "y") == "" && strings.HasPrefix(m[1], "48") {
			ticks = append(ticks, m[1]+" "+m[2]+" "+plainText(n))
		}
	}
	if !slices.Equal(stand, ticks) || len(ticks) < 2 {
		wrong = append(wrong, fmt.Sprintf("the scale that stands reads %q, that of the drawing %q", stand, ticks))
	}
	return wrong
}
