package invent

import (
	"strconv"
	"time"
)

// noFeedTold closes an episode for which no feed would have shown bleeding.
func (d *draft) noFeedTold(coagulopathy string) {
	if coagulopathy == "not_shown" {
		d.expect("unsupported", "not_known", coagulopathy)
		return
	}
	d.incomplete()
	d.expect("undetermined", "not_known", coagulopathy)
}

// treated takes tests before and often after bags given for an indication, and
// closes the episode. limit is the INR limit of the basis in tenths.
func (d *draft) treated(low, high, limit int, basis string, known bool) {
	tenths := d.between(low, high)
	d.before(tenths)
	course := "none"
	switch {
	case d.band() == "below" && d.chance(0.2):
		course = "answered"
		d.after(d.between(11, limit-1))
	case d.band() == "below" && d.chance(0.7):
		d.after(max(limit+1, tenths-d.between(0, 3)))
	case d.band() != "below" && d.chance(0.75):
		d.after(max(11, tenths-d.between(4, 9)))
	}
	if !known {
		d.noFeedTold("shown")
		return
	}
	if d.band() == "within" && d.chance(0.12) {
		d.returnOne()
	}
	d.expect(indicated(d.band(), course), basis, "shown")
}

// returnOne issues one bag more that goes back unused.
func (d *draft) returnOne() {
	u := d.bag("FP27", d.units[0].issued)
	u.reason, u.activation = d.units[0].reason, d.units[0].activation
	u.outcome, u.back = "RT", u.issued.Add(minutes(d.between(20, 55)))
}

func bleedingRaised(d *draft) {
	d.weighNear()
	d.give(d.habit(), "FP27", anyStyle)
	known := d.bleeds("MAJ")
	d.treated(17, 34, 15, "bleeding", known)
}

func highRiskProcedure(d *draft) {
	d.place, d.service = "Theatre 2; recovery", "Surgery"
	d.weighNear()
	d.give(d.habit(), "FP27", anyStyle)
	d.reasonIs("PRC")
	d.theatre("HR", d.first.Add(minutes(d.between(90, 20*60))), d.between(60, 240))
	d.treated(21, 33, 18, "procedure_high", true)
}

// numberBeforeLowRisk: the service that treats a number before a line goes in.
func numberBeforeLowRisk(d *draft) {
	d.place, d.service = numberService.place, numberService.service
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("PRC")
	d.theatre("LR", d.first.Add(minutes(d.between(120, 20*60))), d.between(20, 50))
	tenths := d.between(16, 25)
	d.before(tenths)
	if d.chance(0.5) {
		d.after(max(12, tenths-d.between(0, 3)))
	}
	if d.gone {
		// Whether the patient bled besides would not have been seen.
		d.noFeedTold("shown")
		return
	}
	if tenths > 18 {
		d.expect("non-bleeding", "procedure_low", "shown")
	} else {
		d.expect("non-bleeding", "procedure_low", "not_shown")
	}
}

func numberAlone(d *draft) {
	d.weighNear()
	d.give(d.between(1, 3), "FP27", anyStyle)
	if d.chance(0.7) {
		d.reasonIs("INR")
	}
	tenths := d.between(17, 29)
	d.before(tenths)
	if d.chance(0.6) {
		d.after(max(12, tenths-d.between(0, 4)))
	}
	if d.gone {
		d.noFeedTold("shown")
		return
	}
	d.expect("non-bleeding", "none_found", "shown")
}

func bleedingNormal(d *draft) {
	d.weighNear()
	d.give(d.habit(), "FP27", anyStyle)
	known := d.bleeds("MAJ")
	d.before(d.between(10, 13))
	if !known {
		d.noFeedTold("not_shown")
		return
	}
	d.expect("unsupported", "bleeding", "not_shown")
}

func highRiskNormal(d *draft) {
	d.place, d.service = "Theatre 2; recovery", "Surgery"
	d.weighNear()
	d.give(2, "FP27", anyStyle)
	d.reasonIs("PRC")
	d.theatre("HR", d.first.Add(minutes(d.between(90, 18*60))), d.between(60, 200))
	d.before(d.between(11, 15))
	d.expect("unsupported", "procedure_high", "not_shown")
}

// bleedingAtDose is the ordinary frame of many scenarios: bleeding that the
// request states, dosed by weight.
func (d *draft) bleedingAtDose() {
	d.weighNear()
	d.give(d.byWeight(), "FP27", byWard)
	d.reasonIs("BLD")
}

func warfarin(d *draft) {
	d.weighNear()
	d.give(d.habit(), "FP27", anyStyle)
	d.reasonIs("BLD")
	d.happened("BLEED", "MAJ", d.first.Add(-minutes(d.between(250, 600))), time.Time{})
	for day := 1; day <= d.between(1, 4); day++ {
		d.drugs = append(d.drugs, &drug{d.who.id, "WARF", d.first.AddDate(0, 0, -day)})
	}
	d.before(d.between(32, 79))
	// The site stocks a concentrate, and none was given.
	d.expect("unsupported", "bleeding", "shown")
}

func fibrinogenAlone(d *draft) {
	d.bleedingAtDose()
	at := d.first.Add(-minutes(d.between(60, 200)))
	d.lab("INR", tenth(d.between(11, 13)), at)
	d.lab("FIBC", strconv.Itoa(d.between(72, 130)), at)
	// The policy does not state whether a source of fibrinogen is stocked.
	d.incomplete()
	d.expect("undetermined", "bleeding", "shown")
}

func apttAlone(d *draft) {
	d.bleedingAtDose()
	at := d.first.Add(-minutes(d.between(60, 200)))
	d.inr(d.between(11, 13), at)
	d.lab("APTTR", tenth(d.between(18, 26)), at)
	d.expect("appropriate", "bleeding", "shown")
}

func apttOnHeparin(d *draft) {
	d.bleedingAtDose()
	at := d.first.Add(-minutes(d.between(60, 200)))
	d.inr(d.between(11, 13), at)
	d.lab("APTTR", tenth(d.between(18, 30)), at)
	d.drugs = append(d.drugs, &drug{d.who.id, "HEPU", at.Add(-minutes(d.between(60, 900)))})
	d.expect("unsupported", "bleeding", "not_shown")
}

func viscoelastic(d *draft) {
	d.bleedingAtDose()
	at := d.first.Add(-minutes(d.between(60, 200)))
	d.inr(d.between(11, 13), at)
	// The policy states no limit for it.
	d.lab("VCT", tenth(d.between(620, 1180)), at.Add(minutes(5))).poc = true
	d.incomplete()
	d.expect("undetermined", "bleeding", "not_known")
}

func minorBleeding(d *draft) {
	d.weighNear()
	d.give(d.habit(), "FP27", byWard)
	d.happened("BLEED", "MIN", d.first.Add(-minutes(d.between(250, 500))), time.Time{})
	d.before(d.between(17, 24))
	d.expect("undetermined", "bleeding_minor", "shown")
}

func minorNormal(d *draft) {
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.happened("BLEED", "MIN", d.first.Add(-minutes(d.between(250, 500))), time.Time{})
	d.before(d.between(10, 13))
	d.expect("unsupported", "bleeding_minor", "not_shown")
}

func riskMissing(d *draft) {
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("PRC")
	d.theatre("", d.first.Add(minutes(d.between(90, 600))), 45)
	d.before(d.between(21, 29))
	d.incomplete()
	d.expect("undetermined", "procedure", "shown")
}

// liverHighRisk: in liver disease the limit before a procedure is 2.0.
func liverHighRisk(d *draft) {
	d.place, d.service = "Hawthorn Ward", "Liver and gut"
	d.weighNear()
	d.give(2, "FP27", byWard)
	d.reasonIs("PRC")
	d.happened("DX", "LIV", d.first.Add(-minutes(d.between(900, 1400))), time.Time{})
	d.theatre("HR", d.first.Add(minutes(d.between(90, 600))), 90)
	d.before(19)
	d.expect("unsupported", "procedure_high", "not_shown")
}

func sampleTooOld(d *draft) {
	d.bleedingAtDose()
	d.inr(d.between(10, 13), d.first.Add(-minutes(d.between(7*60, 12*60))))
	d.incomplete()
	d.expect("undetermined", "bleeding", "not_known")
}

func sampleBeforeBleeding(d *draft) {
	d.bleedingAtDose()
	d.happened("BLEED", "MAJ", d.first.Add(-minutes(90)), d.first.Add(minutes(120)))
	d.inr(d.between(10, 13), d.first.Add(-minutes(d.between(150, 300))))
	d.incomplete()
	d.expect("undetermined", "bleeding", "not_known")
}

func noTest(d *draft) {
	d.bleedingAtDose()
	d.lab("HGB", tenth(d.between(70, 100)), d.first.Add(-minutes(80)))
	d.incomplete()
	d.expect("undetermined", "bleeding", "not_known")
}
