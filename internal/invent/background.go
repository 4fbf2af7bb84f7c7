package invent

import (
	"strconv"
	"time"
)

// poolStart is the running number of the first patient without plasma.
const poolStart = 5_000_000

// pool is how many patients without plasma the hospital has.
func (w *world) pool() int {
	return min(3_000_000, max(1500, w.options.Beds*6, int(w.options.Labs/40)))
}

// somebody is the number of a patient who never gets plasma.
func (w *world) somebody() string { return patientNumber(poolStart + w.random.IntN(w.pool())) }

// background lives a month of everybody else: red cells, stock that is thawed
// or lost, bleeding, medicines, operations and weights of patients without
// plasma. It is what says that a feed was recorded.
func (w *world) background(month int) {
	start, end := w.months[month], w.months[month+1]
	length := int(end.Sub(start) / time.Minute)
	sometime := func() time.Time { return start.Add(minutes(w.between(0, length-1))).UTC() }
	scale := w.options.Scale

	for range w.options.Beds * 11 / 20 * scale {
		w.otherRedCells(sometime())
	}
	if !w.unused(month) {
		w.stock(month)
	}

	// The first and the last day of every month hold a row: the days between are
	// then known to be recorded.
	for _, at := range []time.Time{start.Add(time.Hour).UTC(), end.Add(-time.Hour).UTC()} {
		w.events = append(w.events, &event{w.somebody(), "BLEED", "MIN", at, time.Time{}})
		w.drugs = append(w.drugs, &drug{w.somebody(), "HEPU", at})
	}
	for range 45 * scale {
		w.events = append(w.events, &event{w.somebody(), "BLEED", pick(w, "MAJ", "MIN", ""), sometime(), time.Time{}})
	}
	for range 25 * scale {
		w.events = append(w.events, &event{w.somebody(), pick(w, "DX", "DX", "DX", "FALL"), pick(w, "LIV", "HFL", "RFL", "C204"), sometime(), time.Time{}})
	}
	for range 90 * scale {
		at := sometime()
		w.events = append(w.events, &event{w.somebody(), "OPER", pick(w, "HR", "LR", "LR"), at, at.Add(minutes(w.between(30, 200)))})
	}
	for range 160 * scale {
		w.drugs = append(w.drugs, &drug{w.somebody(), pick(w, "WARF", "WARF", "HEPU", "DOAC", "VITK", "PARA", "TXA"), sometime()})
	}
	for range 150 * scale {
		who, at := w.somebody(), sometime()
		w.measures = append(w.measures, &measure{who, "WT", strconv.Itoa(w.between(49, 112)) + ".0", "kg", "M", at})
		if w.chance(0.3) {
			w.measures = append(w.measures, &measure{who, "BMI", strconv.Itoa(w.between(19, 38)), "kg/m2", "M", at})
		}
	}
}

func (w *world) otherRedCells(at time.Time) {
	site := pick(w, w.wards...)
	who := w.somebody()
	u := &issue{unit: w.donation(at), code: pick(w, "RC28", "RC28", "RC28", "RC28", "PL30"), patient: who, shown: who, group: w.group(),
		place: site.place, service: site.service, requester: requesterOf(w.random.IntN(24)), reason: "OTH",
		issued: at, requested: at.Add(-minutes(w.between(30, 300))), expires: at.AddDate(0, 0, 9), outcome: pick(w, "TX", "TX", "TX", "TX", "TX", "TX", "RT", ""), checked: w.chance(0.3)}
	switch {
	case u.outcome == "RT":
		u.back = at.Add(minutes(w.between(15, 60)))
	case w.chance(0.5):
		begin := at.Add(minutes(w.between(8, 25)))
		w.bedside = append(w.bedside, &bedside{u.unit, u.code, u.bag, who, begin, begin.Add(minutes(w.between(80, 170))), 0})
	}
	w.issues = append(w.issues, u)
}

// stock plants plasma that never reached a patient: thawed for readiness and
// expired, thawed and lost while the thawer was down, broken while frozen.
func (w *world) stock(month int) {
	expired, lost := w.between(2, 4)*w.options.Scale, 0
	if month == w.spell {
		lost = 22 * w.options.Scale
	}
	for range expired {
		at := w.moment(month, 3, 22, 6, 20)
		w.issues = append(w.issues, &issue{unit: w.donation(at), code: "FT27", group: "A", place: "Bank stock", thawed: at,
			expires: at.Add(120 * time.Hour), binned: at.Add(121 * time.Hour), outcome: "WS", why: pick(w, "STK", "STK", "EXPT")})
	}
	for range lost {
		// Three weeks in which a bag came out of the thawer split or too warm.
		at := w.moment(month, 5, 25, 6, 22)
		w.issues = append(w.issues, &issue{unit: w.donation(at), code: "FP27", group: w.group(), place: "Bank stock", thawed: at,
			expires: at.Add(24 * time.Hour), binned: at.Add(minutes(w.between(5, 90))), outcome: "WS", why: pick(w, "DMG", "TEMP", "TEMP")})
	}
	for range w.between(1, 3) * w.options.Scale {
		at := w.moment(month, 3, 28, 6, 20)
		w.issues = append(w.issues, &issue{unit: w.donation(at), code: "FP27", group: w.group(), place: "Bank stock", binned: at, outcome: "WS", why: "DMG"})
	}
}

// damaged says that the month's exports hold a few rows that cannot be read.
func (w *world) damaged(month int) bool { return month%4 == 1 || w.options.Months == 1 }
