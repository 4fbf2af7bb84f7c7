package invent

import "time"

// scenario is one way in which an episode comes about.
type scenario struct {
	name string
	// monthly is how many a month on average; every and offset, where every is
	// over 0, plant one in each so-many-th month instead.
	monthly       float64
	every, offset int
	// hours within which it begins, in UTC; both 0 for any hour.
	fromHour, toHour int
	// fromGap says that it is also planted in the month whose events are gone,
	// and knows what that changes.
	fromGap bool
	play    func(*draft)
}

// scenarios in the order in which a month is lived. The order is part of what a
// seed means.
var scenarios = []scenario{
	{name: "bleeding_raised", monthly: 12.4, fromGap: true, play: bleedingRaised},
	{name: "high_risk_procedure", monthly: 4.2, fromHour: 6, toHour: 17, fromGap: true, play: highRiskProcedure},
	{name: "number_before_low_risk", monthly: 6.3, fromHour: 8, toHour: 15, fromGap: true, play: numberBeforeLowRisk},
	{name: "number_alone", monthly: 4.1, fromHour: 7, toHour: 20, fromGap: true, play: numberAlone},
	{name: "bleeding_normal_tests", monthly: 1.6, fromGap: true, play: bleedingNormal},
	{name: "high_risk_normal_tests", monthly: 0.9, fromHour: 6, toHour: 17, fromGap: true, play: highRiskNormal},
	{name: "major_haemorrhage", monthly: 2.2, fromGap: true, play: majorHaemorrhage},
	{name: "plasma_exchange", every: 3, offset: 1, fromHour: 8, toHour: 11, fromGap: true, play: plasmaExchange},
	{name: "circuit_prime", every: 4, offset: 2, fromHour: 7, toHour: 12, fromGap: true, play: circuitPrime},
	{name: "factor_deficiency", every: 5, offset: 1, fromGap: true, play: factorAtDose},
	{name: "factor_deficiency_low", every: 8, offset: 3, fromGap: true, play: factorLow},
	{name: "warfarin_bleeding", monthly: 1.1, fromGap: true, play: warfarin},
	{name: "nothing_given_returned", monthly: 1.2, fromGap: true, play: allReturned},
	{name: "nothing_given_wasted", monthly: 0.9, fromGap: true, play: allWasted},
	{name: "fate_unknown", every: 3, offset: 0, fromGap: true, play: fateUnknown},
	{name: "presumed", monthly: 1.0, fromGap: true, play: presumedUnits},
	{name: "weight_missing", monthly: 0.7, fromGap: true, play: weightMissing},
	{name: "no_test", monthly: 0.6, fromGap: true, play: noTest},
	{name: "weight_too_old", every: 4, offset: 1, fromGap: true, play: weightTooOld},
	{name: "weight_afterwards", every: 4, offset: 3, fromGap: true, play: weightAfterwards},
	{name: "weight_for_height", every: 4, offset: 2, fromGap: true, play: weightForHeight},
	{name: "fibrinogen_alone", every: 3, offset: 1, fromGap: true, play: fibrinogenAlone},
	{name: "aptt_alone", every: 5, offset: 2, fromGap: true, play: apttAlone},
	{name: "aptt_on_heparin", every: 6, offset: 4, fromGap: true, play: apttOnHeparin},
	{name: "viscoelastic_without_limit", every: 8, offset: 5, fromGap: true, play: viscoelastic},
	{name: "minor_bleeding", every: 3, offset: 0, play: minorBleeding},
	{name: "minor_bleeding_normal_tests", every: 6, offset: 3, play: minorNormal},
	{name: "procedure_risk_missing", every: 3, offset: 2, fromHour: 6, toHour: 17, fromGap: true, play: riskMissing},
	{name: "liver_high_risk", every: 5, offset: 3, fromHour: 6, toHour: 17, play: liverHighRisk},
	{name: "newborn_bleeding", every: 4, offset: 0, fromGap: true, play: newbornBleeding},
	{name: "newborn_number", every: 6, offset: 5, play: newbornNumber},
	{name: "child_bleeding", every: 4, offset: 2, fromGap: true, play: childBleeding},
	{name: "red_cells_tell", every: 3, offset: 2, play: redCellsTell},
	{name: "haemoglobin_tells", every: 3, offset: 0, play: haemoglobinTells},
	{name: "sample_too_old", every: 3, offset: 1, fromGap: true, play: sampleTooOld},
	{name: "sample_before_bleeding", every: 5, offset: 4, play: sampleBeforeBleeding},
	{name: "stopped_rest_returned", every: 3, offset: 2, fromGap: true, play: stoppedReturned},
	{name: "stopped_reaction", every: 6, offset: 1, play: stoppedReaction},
	{name: "stood_down", every: 6, offset: 2, play: stoodDown},
	{name: "group_incompatible", every: 6, offset: 4, fromGap: true, play: groupIncompatible},
	{name: "thawed_too_long", every: 5, offset: 0, fromGap: true, play: thawedTooLong},
	{name: "unclottable", every: 6, offset: 0, fromGap: true, play: unclottable},
	{name: "beyond_analyser", every: 5, offset: 3, fromGap: true, play: beyondAnalyser},
	{name: "result_corrected", every: 3, offset: 1, fromGap: true, play: resultCorrected},
	{name: "result_cancelled", every: 4, offset: 0, fromGap: true, play: resultCancelled},
	{name: "fate_corrected", every: 4, offset: 2, play: fateCorrected},
	{name: "emergency_number", every: 4, offset: 1, fromGap: true, play: emergencyNumber},
	{name: "over_band", every: 3, offset: 1, fromGap: true, play: overBand},
	{name: "limit_inr", every: 8, offset: 2, fromGap: true, play: limitINR},
	{name: "limit_dose", every: 8, offset: 4, fromGap: true, play: limitDose},
	{name: "limit_weight_age", every: 8, offset: 6, fromHour: 8, toHour: 18, fromGap: true, play: limitWeightAge},
	{name: "limit_sample_age", every: 8, offset: 0, fromGap: true, play: limitSampleAge},
	{name: "limit_gap", every: 8, offset: 5, fromGap: true, play: limitGap},
}

// live lets the hospital run through its months.
func (w *world) live() {
	for month := range w.options.Months {
		switch {
		case w.unused(month):
		case w.options.Episodes > 0:
			w.plantFew(month)
		default:
			for range w.options.Scale {
				for _, s := range scenarios {
					w.plant(s, month)
				}
			}
			w.clockBack(month)
		}
		w.background(month)
	}
}

// unused says that no plasma is used in the month.
func (w *world) unused(month int) bool {
	return w.options.NoPlasmaAtEnd && month == w.options.Months-1
}

// plantFew plants as many episodes in a month as are wanted, each of a scenario
// drawn by how often it comes about. Such a hospital does no plasma exchange,
// which would come as a course of several.
func (w *world) plantFew(month int) {
	weight := func(s scenario) float64 {
		switch {
		case month == w.gap && !s.fromGap, s.name == "plasma_exchange":
			return 0
		case s.every > 0:
			return 1 / float64(s.every)
		}
		return s.monthly
	}
	all := 0.0
	for _, s := range scenarios {
		all += weight(s)
	}
	for range w.options.Episodes {
		at := w.random.Float64() * all
		for _, s := range scenarios {
			if at -= weight(s); at < 0 {
				w.play(s, month)
				break
			}
		}
	}
}

// plant plays a scenario as often as it falls into the month.
func (w *world) plant(s scenario, month int) {
	if month == w.gap && !s.fromGap {
		return
	}
	mean := s.monthly
	if month == w.spell && s.name == "nothing_given_wasted" {
		mean = 9 // the thawer was down for three weeks
	}
	n := int(mean)
	if w.chance(mean - float64(n)) {
		n++
	}
	if s.every > 0 && month%s.every == s.offset {
		n = 1
	}
	if w.options.Months == 1 {
		n = max(n, 1)
	}
	for range n {
		w.play(s, month)
	}
}

// play plays a scenario once, within its hours.
func (w *world) play(s scenario, month int) {
	from, to := s.fromHour, s.toHour
	if to == 0 {
		from, to = 1, 22
	}
	s.play(w.draft(s.name, month, from, to))
}

// habit is how many bags are asked for: two whatever the weight, or by weight.
// Teaching changes how often the one and the other.
func (d *draft) habit() int {
	two := 0.66
	if !d.teaching.IsZero() && !d.start.Before(d.teaching) {
		two = 0.24
	}
	if d.chance(two) {
		return 2
	}
	return d.byWeight()
}

// byWeight is the least number of bags that makes 12 mL/kg.
func (d *draft) byWeight() int {
	n := 1
	for float64(n*275) < 12*d.who.kg {
		n++
	}
	return n
}

// clockBack plants two episodes in the night on which the clock goes back, in
// the hour that the wall shows twice.
func (w *world) clockBack(month int) {
	start := w.months[month]
	for day := start; day.Before(w.months[month+1]); day = day.AddDate(0, 0, 1) {
		next := day.AddDate(0, 0, 1)
		if next.Sub(day) <= 24*time.Hour {
			continue
		}
		back := backAt(day)
		repeatedHour(w, month, back)
		firstPass(w, month, back)
	}
}
