package invent

import (
	"fmt"
	"strconv"
	"time"
)

func majorHaemorrhage(d *draft) {
	site := pick(d.world, ward{"Emergency Dept", "Emergency"}, ward{"Theatre 2; recovery", "Surgery"}, ward{"Maternity", "Obstetrics"})
	d.place, d.service = site.place, site.service
	d.weighNear()
	d.give(d.between(4, 6), "FT27", byWard)
	d.reasonIs("MHP")
	activation := fmt.Sprintf("MH%s-%s", d.start.Format("0601"), d.who.id[4:])
	for i, u := range d.units {
		// Group A plasma in the emergency, from the stock that stands thawed.
		u.group, u.activation = "A", activation
		u.thawed = u.issued.Add(-minutes(d.between(60, 60*60)))
		u.expires = u.thawed.Add(120 * time.Hour)
		if i == 0 && d.chance(0.5) {
			// The bank had logged the same bag when it thawed it for the stock.
			d.issues = append(d.issues, &issue{unit: u.unit, code: "FP27", group: "A", place: "Bank stock", thawed: u.thawed, expires: u.expires})
		}
	}
	d.redCells(d.between(6, 9), d.first.Add(-minutes(d.between(5, 25))), 9)
	d.happened("MHP", "", d.first.Add(-minutes(35)), time.Time{})
	d.happened("BLEED", "MAJ", d.first.Add(-minutes(d.between(40, 80))), time.Time{})
	d.inr(d.between(17, 33), d.first.Add(-minutes(d.between(10, 38))))
	if d.chance(0.8) {
		d.after(d.between(11, 17))
	}
	d.expect("set-apart", "major_haemorrhage", "shown")
}

// plasmaExchange is a course of four sessions on four days.
func plasmaExchange(d *draft) {
	last := d.months[d.month+1].AddDate(0, 0, -1).Day()
	for day := d.start.In(d.zone).Day(); day > last-6 || d.turnsBack(d.start.AddDate(0, 0, 3)); day = d.start.In(d.zone).Day() {
		d.start = d.moment(d.month, 3, last-6, 8, 11)
	}
	d.place, d.service = "Dialysis Unit", "Haematology"
	d.happened("DX", "TTP", d.start.Add(-minutes(300)), time.Time{})
	course := *d
	for session := range 4 {
		s := course
		s.start = course.start.AddDate(0, 0, session)
		if session == 0 {
			s.weighNear()
		} else {
			s.weighed = d.weighed
		}
		issued := s.start.Add(-minutes(20))
		begin := s.start
		for range d.between(9, 12) {
			u := s.bag("FP27", issued)
			begin = s.used(u, begin, 14, 0, byWard)
		}
		s.reasonIs("PEX")
		s.happened("EXCH", "", s.start, begin)
		s.inr(d.between(10, 13), s.start.Add(-minutes(d.between(60, 200))))
		s.expect("set-apart", "plasma_exchange", "not_shown")
		d.weighed = s.weighed
	}
}

func circuitPrime(d *draft) {
	d.place, d.service = "Heart Theatre", "Heart surgery"
	d.weighNear()
	d.give(d.between(2, 3), "FP27", byWard)
	d.reasonIs("CPB")
	d.theatre("HR", d.first.Add(minutes(30)), 240)
	d.before(d.between(10, 13))
	d.expect("set-apart", "circuit_prime", "not_shown")
}

func factorAtDose(d *draft) {
	d.weighNear()
	d.give(d.byWeight(), "FP27", byWard)
	d.reasonIs("FDF")
	d.before(d.between(11, 13))
	d.expect("appropriate", "factor_deficiency", "not_shown")
}

func factorLow(d *draft) {
	d.who.kg, d.who.cm = 74.5, 0
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("FDF")
	d.before(d.between(11, 13))
	d.expect("under-dosed", "factor_deficiency", "not_shown")
}

// notGiven issues n bags of which none is given.
func (d *draft) notGiven(n int, fate func(*issue)) {
	issued := d.start.Add(-minutes(15))
	for range n {
		fate(d.bag("FP27", issued))
	}
	d.first, d.last = issued, issued
	d.before(d.between(14, 24))
}

func allReturned(d *draft) {
	d.weighNear()
	d.notGiven(d.between(1, 3), func(u *issue) { u.outcome, u.back = "RT", u.issued.Add(minutes(d.between(15, 50))) })
	d.expect("returned", "", "")
}

func allWasted(d *draft) {
	d.weighNear()
	why := pick(d.world, "TEMP", "NLN", "NLN", "DIED")
	if d.month == d.spell {
		why = "EXPT"
	}
	d.notGiven(d.between(1, 3), func(u *issue) {
		u.outcome, u.why, u.binned = "WS", why, u.issued.Add(minutes(d.between(90, 600)))
		if why == "EXPT" {
			u.binned = u.thawed.Add(25 * time.Hour)
		}
	})
	d.expect("wasted", "", "")
}

// fateUnknown: a code that nobody can explain any more.
func fateUnknown(d *draft) {
	d.weighNear()
	d.notGiven(2, func(u *issue) { u.outcome = "CHK" })
	d.incomplete()
	d.expect("undetermined", "", "")
}

func presumedUnits(d *draft) {
	d.weighNear()
	d.give(d.byWeight(), "FP27", presumed)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

func weightMissing(d *draft) {
	d.give(d.habit(), "FP27", anyStyle)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.incomplete()
	d.expect("undetermined", "bleeding", "shown")
}

func weightTooOld(d *draft) {
	d.weigh(minutes(d.between(95, 300) * 24 * 60))
	d.weighed = 0
	d.give(2, "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.incomplete()
	d.expect("undetermined", "bleeding", "shown")
}

func weightAfterwards(d *draft) {
	d.weigh(-minutes(d.between(10*60, 40*60)))
	d.give(d.byWeight(), "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

// weightForHeight: by actual and by adjusted weight the dose falls into
// different bands.
func weightForHeight(d *draft) {
	d.who.sex, d.who.kg, d.who.cm = "F", 120, 165
	d.weighNear()
	d.give(4, "FP27", byWard)
	for _, u := range d.units {
		u.ml = 0
	}
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	// 1100 mL: 9.2 mL/kg of 120 kg, 13.4 of the adjusted 82 kg.
	d.weighed = 0
	d.expect("undetermined", "bleeding", "shown")
}

// infant replaces the patient by one born so many days before.
func (d *draft) infant(days int, kg float64) {
	d.who.born = d.start.AddDate(0, 0, -days)
	d.who.born = time.Date(d.who.born.Year(), d.who.born.Month(), d.who.born.Day(), 0, 0, 0, 0, time.UTC)
	d.who.kg, d.who.cm = kg, 0
}

func newbornBag(d *draft) {
	d.infant(d.between(2, 20), float64(d.between(26, 39))/10)
	d.place, d.service = "Newborn Unit", "Newborn care"
	d.weigh(minutes(d.between(600, 2400)))
	u := d.bag("FPN5", d.start.Add(-minutes(15)))
	u.group = "AB"
	d.used(u, d.start, 55, int(d.who.kg*12), byWard)
}

func newbornBleeding(d *draft) {
	newbornBag(d)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect("undetermined", "bleeding", "not_known")
}

func newbornNumber(d *draft) {
	newbornBag(d)
	d.reasonIs("INR")
	d.before(d.between(17, 22))
	d.expect("non-bleeding", "none_found", "not_known")
}

func childBleeding(d *draft) {
	years := d.between(3, 14)
	d.infant(years*365+d.between(40, 200), float64(years)*2.6+9)
	d.place, d.service = "Linden Ward", "Children"
	d.weigh(minutes(d.between(600, 9*24*60)))
	issued, begin := d.start.Add(-minutes(15)), d.start
	for left := int(d.who.kg * 15); left > 0; left -= 240 {
		begin = d.used(d.bag("FP27", issued), begin, 50, min(left, 240), byWard)
	}
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect("appropriate", "bleeding", "shown")
}

// redCellsTell: three bags of red cells within six hours, and no word of
// bleeding anywhere.
func redCellsTell(d *draft) {
	d.weighNear()
	d.give(d.byWeight(), "FP27", byWard)
	d.redCells(3, d.first.Add(-minutes(d.between(170, 240))), 110)
	d.inr(d.between(17, 24), d.first.Add(-minutes(d.between(40, 150))))
	d.expect("appropriate", "bleeding", "shown")
}

// haemoglobinTells: it fell by 20 g/L or more, and no word of bleeding.
func haemoglobinTells(d *draft) {
	d.weighNear()
	d.give(d.byWeight(), "FP27", byWard)
	high := d.between(104, 128)
	d.lab("HGB", tenth(high), d.first.Add(-minutes(d.between(500, 900))))
	at := d.first.Add(-minutes(d.between(40, 150)))
	d.lab("HGB", tenth(high-d.between(22, 36)), at)
	d.inr(d.between(17, 24), at)
	d.expect("appropriate", "bleeding", "shown")
}

func stoppedReturned(d *draft) {
	d.who.kg, d.who.cm = float64(d.between(660, 980))/10, 0
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(19, 29))
	d.returnOne()
	d.expect("undetermined", "bleeding", "shown")
}

func stoppedReaction(d *draft) {
	d.who.kg, d.who.cm = float64(d.between(660, 980))/10, 0
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(19, 29))
	d.happened("REACT", pick(d.world, "OVL", "ALL", "FEB"), d.last.Add(-minutes(12)), time.Time{})
	d.expect("undetermined", "bleeding", "shown")
}

// stoodDown: an activation that was called off; nobody bled.
func stoodDown(d *draft) {
	d.weighNear()
	d.give(2, "FP27", byWard)
	for _, u := range d.units {
		u.activation = fmt.Sprintf("MH%s-%s", d.start.Format("0601"), d.who.id[4:])
	}
	d.happened("MHP", "SDN", d.units[0].issued.Add(minutes(20)), time.Time{})
	d.before(d.between(19, 26))
	d.expect("non-bleeding", "none_found", "shown")
}

// groupIncompatible: group O plasma, whose antibodies act against the
// recipient's A cells.
func groupIncompatible(d *draft) {
	d.who.abo = "A"
	d.bleedingAtDose()
	d.units[0].group = "O"
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

func thawedTooLong(d *draft) {
	d.bleedingAtDose()
	u := d.units[0]
	u.thawed = u.issued.Add(-minutes(d.between(26*60, 30*60)))
	u.requested, u.expires = u.issued.Add(-minutes(45)), u.thawed.Add(24*time.Hour)
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

func unclottable(d *draft) {
	d.bleedingAtDose()
	d.lab("INR", "unclottable", d.first.Add(-minutes(70)))
	d.lab("FIBC", "<50", d.first.Add(-minutes(70)))
	d.after(d.between(14, 22))
	d.expect("appropriate", "bleeding", "shown")
}

func beyondAnalyser(d *draft) {
	d.bleedingAtDose()
	d.lab("INR", ">9.0", d.first.Add(-minutes(d.between(50, 200))))
	d.after(d.between(14, 22))
	d.expect("appropriate", "bleeding", "shown")
}

// resultCorrected: the laboratory amends a result in a later export.
func resultCorrected(d *draft) {
	d.bleedingAtDose()
	at := d.first.Add(-minutes(d.between(60, 200)))
	d.lab("INR", "1.2", at)
	r := d.lab("INR", tenth(d.between(21, 29)), at)
	r.status, r.later = "C", true
	r.resulted = at.Add(minutes(26 * 60))
	d.expect("appropriate", "bleeding", "shown")
}

// resultCancelled: a sample of somebody else, taken back.
func resultCancelled(d *draft) {
	d.bleedingAtDose()
	d.lab("INR", "1.2", d.first.Add(-minutes(150)))
	at := d.first.Add(-minutes(60))
	d.lab("INR", strconv.Itoa(d.between(4, 6)), at)
	r := d.lab("INR", "", at)
	r.status, r.later, r.resulted = "X", true, at.Add(minutes(20*60))
	d.expect("unsupported", "bleeding", "not_shown")
}

// fateCorrected: a later export that overlaps says that bags told as returned
// were used.
func fateCorrected(d *draft) {
	if last := d.months[d.month+1].AddDate(0, 0, -1).Day(); d.month+1 < d.options.Months {
		d.start = d.moment(d.month, last-5, last, 2, 20)
	}
	d.bleedingAtDose()
	if d.month+1 < d.options.Months {
		for _, u := range d.units {
			u.firstOutcome, u.firstBack = "RT", u.issued.Add(minutes(40))
			u.outcome = "TX"
		}
		// The ward's record came as late as the bank's correction: without it the
		// times are assumed.
		d.bedside = d.bedside[:len(d.bedside)-len(d.units)]
		d.first, d.last = d.units[0].issued, d.units[0].issued.Add(minutes(90))
	}
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

// emergencyNumber: brought in without a name; the number was merged later.
func emergencyNumber(d *draft) {
	d.place, d.service = "Emergency Dept", "Emergency"
	d.bleedingAtDose()
	number := "E" + d.who.id[1:]
	for _, u := range d.units {
		u.shown = number
	}
	for _, b := range d.bedside[len(d.bedside)-len(d.units):] {
		b.patient = number
	}
	d.aliases = append(d.aliases, alias{number, d.who.id})
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

func overBand(d *draft) {
	d.who.kg, d.who.cm = float64(d.between(480, 530))/10, 0
	d.weighNear()
	d.give(d.between(5, 6), "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect("appropriate", "bleeding", "shown")
}
