package invent

import "time"

// The scenarios here stand exactly on a limit.

// limitINR: an INR of 1.5 is not over 1.5.
func limitINR(d *draft) {
	d.bleedingAtDose()
	d.lab("INR", "1.5", d.first.Add(-minutes(120)))
	d.expect("unsupported", "bleeding", "not_shown")
}

// limitDose: 4 × 190 mL for 80 kg are 9.5 mL/kg, which still counts as 10.
func limitDose(d *draft) {
	d.who.kg, d.who.cm = 80, 0
	d.weigh(minutes(24 * 60))
	d.weighed = 80
	last := d.measures[len(d.measures)-1]
	last.value, last.unit = "80.0", "kg"
	d.give(4, "FP20", byWard)
	d.delivered = 0
	for _, u := range d.units {
		u.ml = 190
		d.delivered += u.ml
	}
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect("appropriate", "bleeding", "shown")
}

// limitWeightAge: a weight of exactly 90 days counts.
func limitWeightAge(d *draft) {
	d.weigh(90 * 24 * time.Hour)
	d.give(d.byWeight(), "FP27", byWard)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

// limitSampleAge: a sample of exactly 6 h decides.
func limitSampleAge(d *draft) {
	d.bleedingAtDose()
	d.inr(d.between(10, 13), d.first.Add(-6*time.Hour))
	d.expect("unsupported", "bleeding", "not_shown")
}

// limitGap: a bag issued exactly 6 h after the last one ended belongs to the
// same episode.
func limitGap(d *draft) {
	d.who.kg, d.who.cm = float64(d.between(620, 780))/10, 0
	d.weighNear()
	d.give(2, "FP27", byWard)
	issued := d.last.Add(6 * time.Hour)
	d.used(d.bag("FP27", issued), issued.Add(minutes(12)), 45, 0, byWard)
	d.reasonIs("BLD")
	d.before(d.between(17, 29))
	d.expect("appropriate", "bleeding", "shown")
}

// repeatedHour: thawed in the first pass of the hour that the wall shows twice,
// issued in the second: the wall says 01:50 and then 01:20.
func repeatedHour(w *world, month int, back time.Time) {
	d := &draft{world: w, month: month, start: back.Add(minutes(65)), place: "Intensive Care", service: "Intensive care"}
	d.who = w.adult(d.start, 30, 80)
	d.truth = Episode{Scenario: "clock_back_second_pass", Complete: true}
	d.weigh(minutes(3 * 24 * 60))
	begin := d.start
	for range d.byWeight() {
		u := d.bag("FP27", back.Add(minutes(20)))
		u.thawed = back.Add(-minutes(10))
		u.requested, u.expires = back.Add(-minutes(80)), u.thawed.Add(24*time.Hour)
		begin = d.used(u, begin, 45, 0, byWard)
	}
	d.reasonIs("BLD")
	d.inr(w.between(17, 29), back.Add(-minutes(150)))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}

// firstPass: issued in the first pass, begun after the hour.
func firstPass(w *world, month int, back time.Time) {
	d := &draft{world: w, month: month, start: back.Add(minutes(70)), place: "Alder Ward", service: "Surgery"}
	d.who = w.adult(d.start, 30, 80)
	d.truth = Episode{Scenario: "clock_back_first_pass", Complete: true}
	d.weigh(minutes(5 * 24 * 60))
	begin := d.start
	for range d.byWeight() {
		u := d.bag("FP27", back.Add(-minutes(25)))
		u.thawed = back.Add(-minutes(70))
		u.requested, u.expires = back.Add(-minutes(130)), u.thawed.Add(24*time.Hour)
		begin = d.used(u, begin, 45, 0, byWard)
	}
	d.reasonIs("BLD")
	d.inr(w.between(17, 29), back.Add(-minutes(150)))
	d.expect(indicated(d.band(), "none"), "bleeding", "shown")
}
