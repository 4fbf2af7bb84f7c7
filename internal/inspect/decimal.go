package inspect

import (
	"fmt"

	"thawline/internal/normalise"
	"thawline/internal/read"
)

// decimals finds the mark that parts the decimals of the feed's numbers: any number
// that can be read with one mark alone proves it. Where none does, and numbers are
// there that can be read with either, a person must say.
func (g *group) decimals(f *Feed) {
	var all [normalise.Grouped + 1]int64
	var first [normalise.Grouped + 1]Place
	counts := false
	for i, p := range g.columns {
		isNumber := g.isNumber(i)
		if g.best == nil {
			isNumber = p.share(p.numbers) >= 0.6 && p.share(p.timed()) < 0.5
		}
		if !isNumber {
			continue
		}
		for mark := range p.marks {
			// A workbook's numbers have no mark of their own, and are told with a point.
			if g.look.Format == read.XLSX && (mark == int(normalise.PointParts) || mark == int(normalise.PointOpen)) {
				continue
			}
			if all[mark] == 0 {
				first[mark] = p.firstMark[mark]
			}
			all[mark] += p.marks[mark]
		}
		counts = counts || g.best != nil && g.best.roles[i].name == "count" && p.marks[normalise.PointOpen] > 0
	}
	comma, point := all[normalise.CommaParts], all[normalise.PointParts]
	openComma, openPoint := all[normalise.CommaOpen], all[normalise.PointOpen]
	thousands := func(n int64, form string, at Place) string {
		if n == 0 {
			return ""
		}
		return fmt.Sprintf("; %d cells such as %s are then thousands, first %s", n, form, at)
	}
	contradict := func(n int64, at Place) string {
		if n == 0 {
			return ""
		}
		return fmt.Sprintf("; %d cells contradict it, first %s", n, at)
	}
	switch {
	case g.look.Format == read.FHIR:
		return // Its numbers have a point.
	case comma > 0 && float64(point) <= against*float64(comma):
		f.Decimal = "comma"
		f.decimalNote = fmt.Sprintf("proven at %s, where a comma can part nothing but decimals", first[normalise.CommaParts]) +
			thousands(openPoint, "9.999", first[normalise.PointOpen]) + contradict(point, first[normalise.PointParts])
	case comma > 0 && float64(comma) > against*float64(point):
		if openComma+openPoint == 0 {
			return // Each is read as it stands.
		}
		f.decimalOpen = fmt.Sprintf("%d numbers have a comma for their decimals (first %s), and %d a point (first %s): stating either loses the others; cells such as 9,999 (%d) and 9.999 (%d) can be read as thousands or as decimals, and are not read: ask the system's owner",
			comma, first[normalise.CommaParts], point, first[normalise.PointParts], openComma, openPoint)
	case point > 0 && openComma > 0:
		f.Decimal = "point"
		f.decimalNote = fmt.Sprintf("proven at %s, where a point can part nothing but decimals", first[normalise.PointParts]) +
			thousands(openComma, "9,999", first[normalise.CommaOpen]) + contradict(comma, first[normalise.CommaParts])
	case openComma > 0:
		f.decimalOpen = fmt.Sprintf("%d cells such as 9,999 (first %s) can be read as decimals or as thousands, and no other number shows which: they are not read until you state comma or point", openComma, first[normalise.CommaOpen])
	case counts && point == 0:
		f.decimalOpen = fmt.Sprintf("%d cells such as 9.999 (first %s) can be read as decimals or as thousands, and no other number shows which: they are not read until you state comma or point", openPoint, first[normalise.PointOpen])
	case all[normalise.Grouped] > 0:
		f.decimalOpen = fmt.Sprintf("%d cells such as 9 999 (first %s) have their thousands parted by a space or an apostrophe: they are not read until you state comma or point", all[normalise.Grouped], first[normalise.Grouped])
	case openPoint > 0 && point == 0:
		f.decimalOpen = fmt.Sprintf("%d cells such as 9.999 (first %s) could part thousands, and no other number shows it: they are read as decimals; state decimal: comma where they are thousands", openPoint, first[normalise.PointOpen])
	}
}

// writeDecimal states the mark of decimals, or waits for a person to.
func (w *writer) writeDecimal(f *Feed) {
	switch {
	case f.Decimal != "":
		w.noted("    decimal: "+f.Decimal, comment(f.decimalNote))
	case f.decimalOpen != "":
		w.noted("    # decimal: ?", "comma or point: "+comment(f.decimalOpen))
	}
}
