package invent

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// What is here departs from the demonstration's hospital, by Options: other
// patients, other products, feeds that are not there, careless records. The
// planted truths hold for the demonstration's ways alone, so that those of a
// departing hospital say who and when, and state no mark.

// departs reports whether the planted truths no longer follow from how episodes
// were made.
func (o Options) departs() bool {
	return o.Children || o.Batches || o.Careless || o.NoEvents || o.Policy != ""
}

// young makes most patients newborns and children. Weights by age are made up,
// about what children weigh.
func (d *draft) young() {
	switch n := d.random.IntN(20); {
	case n < 6:
		d.infant(d.between(0, 34), float64(d.between(9, 45))/10)
	case n < 9:
		d.infant(d.between(30, 400), float64(d.between(38, 100))/10)
	case n < 17:
		years := d.between(1, 15)
		d.infant(years*365+d.between(0, 364), float64(years)*2.8+8)
	default:
		// About the birthday from which patients count as adults, here and elsewhere.
		d.infant(d.between(15, 18)*365+d.between(0, 400), float64(d.between(440, 800))/10)
		if d.chance(0.5) {
			d.who.cm = float64(d.between(150, 180))
		}
	}
}

// portion is what of a bag such a patient is given, in mL; 0 for all of it.
func (d *draft) portion(code string) (string, int) {
	if !d.options.Children || d.who.kg > 25 {
		return code, 0
	}
	if d.who.kg < 6 && code == "FP27" && d.chance(0.6) {
		code = "FPN5"
	}
	if d.chance(0.15) {
		return code, 0 // nobody wrote how much of it
	}
	return code, max(1, min(nominal(code), int(d.who.kg*float64(d.between(7, 22)))))
}

// pooled is plasma that comes in batches: bags of one number, told apart by a
// number of their own where anybody wrote it.
var pooled = product{code: "SDP2", component: "plasma", kind: "pathogen_reduced", ml: 200, batch: true}

// batch makes a bag one of a batch.
func (d *draft) batch(u *issue) {
	u.code, u.ml = pooled.code, 0
	u.unit = fmt.Sprintf("LOT%s%c", u.issued.Format("0601"), 'A'+rune(d.random.IntN(3)))
	if d.chance(0.7) {
		d.bags++
		u.bag = fmt.Sprintf("%04d", d.bags)
	}
}

// careless spoils the records of an episode as busy people do.
func (d *draft) careless() {
	if d.chance(0.15) {
		// Brought in under one number, merged into another, and that into the
		// patient's.
		first, second := "E"+d.who.id[1:], "M"+d.who.id[1:]
		if last := len(d.aliases) - 1; last < 0 || d.aliases[last].number != first {
			for _, u := range d.units {
				u.shown = first
				for _, b := range d.bedside {
					if b.unit == u.unit && b.patient == d.who.id {
						b.patient = first
					}
				}
			}
			d.aliases = append(d.aliases, alias{first, second}, alias{second, d.who.id})
		}
	}
	if d.chance(0.08) {
		d.who.born = time.Time{}
	}
	if d.chance(0.1) && d.who.kg > 0 {
		// Pounds, written as kilograms.
		at := d.start.Add(-minutes(d.between(60, 20*24*60)))
		d.measures = append(d.measures, &measure{d.who.id, "WT", fmt.Sprintf("%.1f", math.Round(d.who.kg*22.046)/10), "kg", pick(d.world, "M", "S", "E", ""), at})
	}
	if d.chance(0.2) {
		at := d.start.Add(-minutes(d.between(0, 120*24*60)))
		d.measures = append(d.measures, &measure{d.who.id, "WT", fmt.Sprintf("%.1f", d.who.kg*float64(d.between(92, 108))/100), "kg", pick(d.world, "M", "S", "E", ""), at})
	}
	for _, u := range d.units {
		if d.chance(0.1) {
			u.reason = ""
		}
		if d.chance(0.05) {
			u.outcome = pick(d.world, "", "CHK", "RT", "TX")
		}
	}
}

// dateAlone leaves the day of a time that is written day first by ISO 8601, one
// in twenty.
func (x *exporter) dateAlone(text string) string {
	if x.options.Careless && x.random.Float64() < 0.05 {
		day, _, _ := strings.Cut(text, "T")
		return day
	}
	return text
}

// resultTold writes the time of a result; one in ten never has one.
func (x *exporter) resultTold(t time.Time) string {
	if x.options.Careless && x.random.Float64() < 0.1 {
		return ""
	}
	return x.stamp(t)
}

// backAt is the instant at which the clock goes back on a local day of 25 hours.
func backAt(day time.Time) time.Time {
	_, before := day.Zone()
	at := day
	for _, now := at.Zone(); now == before; _, now = at.Zone() {
		at = at.Add(time.Minute)
	}
	return at.UTC()
}
