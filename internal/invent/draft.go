package invent

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// draft is one episode in the making.
type draft struct {
	*world
	who   *person
	month int
	// gone says that the month's events were never exported.
	gone bool
	// start is when the first bag is meant to begin; first and last are the
	// begin and finish that the exports tell, known once units were given.
	start, first, last     time.Time
	place, service, reason string
	units                  []*issue
	delivered              int
	weighed                float64
	truth                  Episode
}

// unitStyle says how the ward's use of a unit is recorded.
type unitStyle int

const (
	byWard   unitStyle = iota // start and end in the ward's record
	byBank                    // the bank's log says used, without times
	presumed                  // nobody recorded anything
	anyStyle                  // one of the first two
)

// draft begins an episode of an adult at a time of the month.
func (w *world) draft(scenario string, month, fromHour, toHour int) *draft {
	d := &draft{world: w, month: month, gone: month == w.gap, start: w.moment(month, 3, 31, fromHour, toHour)}
	d.who = w.adult(d.start, 24, 89)
	site := pick(w, w.wards...)
	d.place, d.service, d.reason = site.place, site.service, "OTH"
	d.truth = Episode{Scenario: scenario, Complete: true}
	if w.options.Children {
		d.young()
	}
	return d
}

// weigh records the patient's weight that long before the start.
func (d *draft) weigh(before time.Duration) {
	d.weighed = d.who.kg
	value, unit := strconv.FormatFloat(d.who.kg, 'f', 1, 64), "kg"
	switch {
	case d.who.kg < 6:
		value, unit = strconv.FormatFloat(d.who.kg*1000, 'f', 0, 64), "g"
	case d.who.kg > 20 && d.chance(0.05):
		// One ward writes pounds. An avoirdupois pound is 0.45359237 kg.
		pounds := math.Round(d.who.kg/0.45359237*10) / 10
		value, unit = strconv.FormatFloat(pounds, 'f', 1, 64), "lb"
		d.weighed = pounds * 0.45359237
	}
	at := d.start.Add(-before)
	d.measures = append(d.measures, &measure{d.who.id, "WT", value, unit, pick(d.world, "M", "M", "M", "S"), at})
	if d.who.cm > 0 {
		d.measures = append(d.measures, &measure{d.who.id, "HT", strconv.FormatFloat(d.who.cm, 'f', 0, 64), "cm", "M", at})
	}
}

// weighNear records a weight some hours to some weeks before.
func (d *draft) weighNear() { d.weigh(minutes(d.between(3*60, 40*24*60))) }

// bag makes a unit that is issued at a time, without saying what became of it.
func (d *draft) bag(code string, issued time.Time) *issue {
	u := &issue{unit: d.donation(issued), code: code, patient: d.who.id, shown: d.who.id, group: d.plasmaFor(d.who.abo),
		place: d.place, service: d.service, requester: requesterOf(d.random.IntN(24)), reason: d.reason,
		issued: issued, requested: issued.Add(-minutes(d.between(40, 110))), thawed: issued.Add(-minutes(d.between(3, 30))), checked: d.chance(0.3)}
	if component(code) != "plasma" {
		u.thawed, u.group = time.Time{}, d.who.abo
		u.expires = issued.AddDate(0, 0, d.between(4, 20))
	} else {
		u.expires = u.thawed.Add(24 * time.Hour)
		if code == "FT27" {
			u.expires = u.thawed.Add(120 * time.Hour)
		}
		if d.chance(0.3) && nominal(code) > 100 {
			u.ml = nominal(code) + d.between(-12, 13)
		}
		if d.options.Batches && d.chance(0.6) {
			d.batch(u)
		}
	}
	d.issues = append(d.issues, u)
	if component(code) == "plasma" {
		d.units = append(d.units, u)
	}
	return u
}

// give issues n bags together and gives them one after another from the start.
func (d *draft) give(n int, code string, style unitStyle) {
	if style == anyStyle {
		style = byWard
		if d.chance(0.12) {
			style = byBank
		}
	}
	issued := d.start.Add(-minutes(d.between(10, 25)))
	begin := d.start
	for range n {
		own, ml := d.portion(code)
		u := d.bag(own, issued)
		begin = d.used(u, begin, d.between(35, 55), ml, style)
	}
}

// used records that a unit was given from begin, for so many minutes, ml of it
// where over 0, and returns the end.
func (d *draft) used(u *issue, begin time.Time, long, ml int, style unitStyle) time.Time {
	end := begin.Add(minutes(long))
	told, finish := begin, end
	switch style {
	case byWard:
		d.bedside = append(d.bedside, &bedside{u.unit, u.code, u.bag, u.shown, begin, end, ml})
		if d.chance(0.6) {
			u.outcome = "TX"
		}
	default:
		// Without times the policy takes the issue as the begin and 90 min after
		// it as the end.
		told, finish = u.issued, u.issued.Add(90*time.Minute)
		if style == byBank {
			u.outcome = "TX"
		}
	}
	if component(u.code) == "plasma" {
		switch {
		case ml > 0:
			d.delivered += ml
		case u.ml > 0:
			d.delivered += u.ml
		default:
			d.delivered += nominal(u.code)
		}
		if d.first.IsZero() || told.Before(d.first) {
			d.first = told
		}
		if finish.After(d.last) {
			d.last = finish
		}
	}
	return end
}

// redCells gives n red cells from begin, so many minutes apart.
func (d *draft) redCells(n int, begin time.Time, apart int) {
	for i := range n {
		at := begin.Add(minutes(i * apart))
		u := d.bag("RC28", at.Add(-minutes(12)))
		u.activation = d.activationOf()
		d.used(u, at, min(apart, 90), 0, byWard)
	}
}

func (d *draft) activationOf() string {
	if len(d.units) > 0 {
		return d.units[0].activation
	}
	return ""
}

// lab records a result whose sample was taken at a time.
func (d *draft) lab(test, value string, at time.Time) *result {
	r := &result{patient: d.who.id, test: test, value: value, unit: labUnit(test), collected: at, resulted: at.Add(minutes(d.between(25, 60))), status: "F"}
	d.results = append(d.results, r)
	return r
}

// inr records an INR in tenths. Where it is well away from every limit that may
// judge it, the prothrombin time of the same sample may stand beside it: the
// ratio made from it falls on the same side.
func (d *draft) inr(tenths int, at time.Time) *result {
	r := d.lab("INR", tenth(tenths), at)
	if far(tenths) && d.chance(0.4) {
		value := math.Round(float64(tenths)*meanPT(at.In(d.zone))) / 10
		d.lab("PTS", strconv.FormatFloat(value, 'f', 1, 64), at)
	}
	return r
}

func far(tenths int) bool {
	for _, limit := range []int{15, 18, 20} {
		if tenths >= limit-1 && tenths <= limit+1 {
			return false
		}
	}
	return true
}

func tenth(n int) string { return fmt.Sprintf("%d.%d", n/10, n%10) }

// before takes the ordinary samples before the episode, with that INR.
func (d *draft) before(tenths int) {
	at := d.first.Add(-minutes(d.between(40, 235)))
	d.inr(tenths, at)
	d.others(at)
}

// others adds results of the same sample that decide nothing.
func (d *draft) others(at time.Time) {
	d.lab("HGB", tenth(d.between(72, 124)), at)
	if d.chance(0.4) {
		d.lab("FIBC", strconv.Itoa(d.between(185, 430)), at)
	}
	if d.chance(0.3) {
		d.lab("APTTR", tenth(d.between(9, 13)), at)
	}
	if d.chance(0.5) {
		d.lab("PLTC", strconv.Itoa(d.between(45, 390)), at)
	}
	if d.chance(0.2) {
		d.lab("HCT", strconv.Itoa(d.between(23, 39)), at)
	}
	if d.chance(0.6) {
		d.lab("CREA", strconv.Itoa(d.between(48, 260)), at)
	}
}

// after takes an INR after the episode.
func (d *draft) after(tenths int) {
	d.inr(tenths, d.last.Add(minutes(d.between(30, 400))))
}

// happened records an event.
func (d *draft) happened(kind, detail string, at, until time.Time) {
	d.events = append(d.events, &event{d.who.id, kind, detail, at, until})
}

// bleeds records bleeding that began before every sample: by the reason on the
// request, by an event, or by both. It reports whether an export tells of it.
func (d *draft) bleeds(detail string) bool {
	n := d.random.IntN(100)
	if n < 75 {
		d.reasonIs("BLD")
	}
	if n >= 45 {
		d.happened("BLEED", detail, d.first.Add(-minutes(d.between(250, 600))), time.Time{})
	}
	return n < 75 || !d.gone
}

func (d *draft) reasonIs(code string) {
	d.reason = code
	for _, u := range d.units {
		u.reason = code
	}
}

// theatre records an operation or a procedure.
func (d *draft) theatre(risk string, at time.Time, long int) {
	d.happened("OPER", risk, at, at.Add(minutes(long)))
}

// band is the dose band by the default policy: 10 to 20 mL/kg with half a
// mL/kg allowed, for adults and children alike.
func (d *draft) band() string {
	if d.weighed == 0 || d.delivered == 0 {
		return "not_known"
	}
	dose := math.Round(float64(d.delivered)/d.weighed*1e6) / 1e6
	switch {
	case dose < 9.5:
		return "below"
	case dose > 20.5:
		return "above"
	}
	return "within"
}

// indicated is the mark of an indicated episode by its dose band and what ended
// a small dose: answered, stopped or none.
func indicated(band, course string) string {
	switch {
	case band == "not_known" || band == "below" && course == "stopped":
		return "undetermined"
	case band == "below" && course == "none":
		return "under-dosed"
	}
	return "appropriate"
}

// expect closes the episode with what must be found in it.
func (d *draft) expect(mark, basis, coagulopathy string) {
	if d.options.Careless {
		d.careless()
	}
	first := d.units[0]
	for _, u := range d.units[1:] {
		if n := u.issued.Compare(first.issued); n < 0 || n == 0 && strings.Compare(u.unit, first.unit) < 0 {
			first = u
		}
	}
	d.truth.PatientID, d.truth.FirstIssuedAt, d.truth.FirstUnit = d.who.id, first.issued, first.unit
	if d.options.departs() {
		d.truth.Complete = false
	} else {
		d.truth.Mark, d.truth.Basis, d.truth.Coagulopathy, d.truth.DoseBand = mark, basis, coagulopathy, d.band()
	}
	d.planted = append(d.planted, d.truth)
}

// incomplete says that something a mark needs is in no export.
func (d *draft) incomplete() { d.truth.Complete = false }
