package invent

import (
	"cmp"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strconv"
	"time"
)

// exporter writes what each system of the hospital would export.
type exporter struct {
	*world
	dir   string
	files []string
	// random draws what only the exports hold, so that their size does not
	// change the hospital.
	random *rand.Rand
}

// Ways to write a time on the wall.
const (
	slashed = "02/01/2006 15:04"
	iso     = "2006-01-02T15:04"
	named   = "02-Jan-2006 15:04"
)

// wall writes t on the hospital's clock; nothing where there is no time.
func (w *world) wall(t time.Time, layout string) string {
	if t.IsZero() {
		return ""
	}
	return t.In(w.zone).Format(layout)
}

// exported is the day on which the exports of a month were made.
func (w *world) exported(month int) string {
	return w.months[month+1].AddDate(0, 0, 3).Format(time.DateOnly)
}

func (x *exporter) open(kind string, month int, delimiter byte, header string) (*sheet, error) {
	name := kind + "_" + x.exported(month) + ".csv"
	x.files = append(x.files, name)
	return newSheet(filepath.Join(x.dir, "inbox", name), delimiter, header)
}

// write writes all exports, then the site and policy files.
func (x *exporter) write() error {
	slices.SortStableFunc(x.issues, func(a, b *issue) int {
		return cmp.Or(a.at().Compare(b.at()), cmp.Compare(a.unit, b.unit))
	})
	slices.SortStableFunc(x.bedside, func(a, b *bedside) int { return cmp.Or(a.start.Compare(b.start), cmp.Compare(a.unit, b.unit)) })
	slices.SortStableFunc(x.events, func(a, b *event) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.patient, b.patient)) })
	slices.SortStableFunc(x.drugs, func(a, b *drug) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.patient, b.patient)) })
	slices.SortStableFunc(x.measures, func(a, b *measure) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.patient, b.patient)) })
	slices.SortFunc(x.aliases, func(a, b alias) int { return cmp.Compare(a.number, b.number) })
	results := x.resultsByMonth()
	for month := range x.options.Months {
		for _, export := range x.monthly() {
			if err := export(month); err != nil {
				return err
			}
		}
		if err := x.laboratory(month, results[month]); err != nil {
			return err
		}
		// The counts come once a year.
		if last := month == x.options.Months-1; last || month%12 == 11 {
			if err := x.counts(month); err != nil {
				return err
			}
		}
	}
	return x.configuration()
}

// monthly are the exports of every month, in the order in which they are made.
func (x *exporter) monthly() []func(int) error {
	if x.options.NoEvents {
		return []func(int) error{x.bank, x.ward, x.medicines, x.observations, x.register, x.merges}
	}
	return []func(int) error{x.bank, x.ward, x.clinical, x.theatreList, x.medicines, x.observations, x.register, x.merges}
}

// overlap is how many days before its month an export of the bank and of the
// ward reaches.
const overlap = 7

// opens is the instant from which the export of a month tells.
func (w *world) opens(month int) time.Time {
	if month == 0 {
		return time.Time{}
	}
	return w.months[month].AddDate(0, 0, -overlap)
}

// span cuts from rows, in order of time, those that the export of a month tells
// where it reaches back to from.
func span[T any](w *world, rows []T, at func(T) time.Time, month int, from time.Time) []T {
	first, _ := slices.BinarySearchFunc(rows, from, func(r T, t time.Time) int { return at(r).Compare(t) })
	if month == 0 {
		first = 0
	}
	last := len(rows)
	if month < w.options.Months-1 {
		last, _ = slices.BinarySearchFunc(rows, w.months[month+1], func(r T, t time.Time) int { return at(r).Compare(t) })
	}
	return rows[first:max(first, last)]
}

func (x *exporter) bank(month int) error {
	header := "DonationNo|Prod|Grp|VolML|HospNo|Place|Service|AskedBy|Reason|MHPRef|Asked|Thawed|Issued|Back|Binned|BinWhy|Expiry|Outcome"
	if x.options.Batches {
		header += "|BagNo"
	}
	s, err := x.open("bank", month, ';', header)
	if err != nil {
		return err
	}
	for _, u := range span(x.world, x.issues, (*issue).at, month, x.opens(month)) {
		number, volume, outcome, back := u.unit, "", u.outcome, u.back
		if u.checked && u.code != pooled.code {
			number += string(checkCharacter(u.unit))
		}
		if u.ml > 0 {
			volume = strconv.Itoa(u.ml)
		}
		if u.firstOutcome != "" && x.monthOf(u.at()) == month {
			outcome, back = u.firstOutcome, u.firstBack
		}
		cells := []string{number, u.code, u.group, volume, u.shown, u.place, u.service, u.requester, u.reason, u.activation,
			x.wall(u.requested, slashed), x.wall(u.thawed, slashed), x.wall(u.issued, slashed), x.wall(back, slashed),
			x.wall(u.binned, slashed), u.why, x.wall(u.expires, slashed), outcome}
		if x.options.Batches {
			cells = append(cells, u.bag)
		}
		s.row(cells...)
	}
	if x.damaged(month) {
		day := x.months[month].Format("01/2006")
		who := patientNumber(poolStart)
		// No such hour, no donation number, and a check character that is not of
		// this number: two rows are out, the third stays with a note.
		s.raw("Z040700000901;RC28;A;;" + who + ";Alder Ward;Surgery;DR100;OTH;;;;12/" + day + " 25:61;;;;;TX")
		s.raw(";RC28;O;;" + who + ";Alder Ward;Surgery;DR100;OTH;;;;14/" + day + " 10:20;;;;;TX")
		odd := "Z040700000902"
		s.raw(odd + string(otherCharacter(checkCharacter(odd))) + ";RC28;O;;" + who + ";Alder Ward;Surgery;DR100;OTH;;;;15/" + day + " 11:05;;;;;TX")
	}
	return s.close()
}

// otherCharacter gives a check character that is not c.
func otherCharacter(c byte) byte {
	if c == 'A' {
		return 'B'
	}
	return 'A'
}

func (x *exporter) ward(month int) error {
	header := "Unit|Product|Patient|Begun|Done|GivenML"
	if x.options.Batches {
		header += "|BagNo"
	}
	s, err := x.open("ward", month, ',', header)
	if err != nil {
		return err
	}
	for i, b := range span(x.world, x.bedside, func(b *bedside) time.Time { return b.start }, month, x.opens(month)) {
		number, code, given := b.unit+string(checkCharacter(b.unit)), b.code, ""
		if b.code == pooled.code {
			number = b.unit
		} else if i%9 == 4 {
			// Typed as it stands on the label, and without the product.
			number, code = b.unit[:5]+" "+b.unit[5:7]+" "+b.unit[7:], ""
		}
		if b.ml > 0 {
			given = strconv.Itoa(b.ml)
		}
		end := x.wall(b.end, iso)
		if x.options.Careless && x.random.Float64() < 0.1 {
			end = ""
		}
		cells := []string{number, code, b.patient, x.wall(b.start, iso), end, given}
		if x.options.Batches {
			cells = append(cells, b.bag)
		}
		s.row(cells...)
	}
	if x.damaged(month) {
		s.raw("Z040700000903,RC28," + patientNumber(poolStart) + ",not known,,")
	}
	return s.close()
}

// clinical writes everything of events but operations. In one month the feed
// failed, and nobody noticed.
func (x *exporter) clinical(month int) error {
	if month == x.gap {
		return nil
	}
	s, err := x.open("clin", month, ',', "HospNo|Type|Detail|When|Until")
	if err != nil {
		return err
	}
	for _, e := range span(x.world, x.events, func(e *event) time.Time { return e.at }, month, x.months[month]) {
		if e.kind != "OPER" {
			s.row(e.patient, e.kind, e.detail, x.dateAlone(x.wall(e.at, iso)), x.dateAlone(x.wall(e.until, iso)))
		}
	}
	if x.damaged(month) {
		s.raw(patientNumber(poolStart) + ",BLEED,MAJ,sometime,")
		s.raw(",DX,LIV," + x.months[month].Format("2006-01") + "-09T10:00,")
	}
	return s.close()
}

func (x *exporter) theatreList(month int) error {
	s, err := x.open("theatre", month, '|', "HospNo|Row|Risk|In|Out")
	if err != nil {
		return err
	}
	for _, e := range span(x.world, x.events, func(e *event) time.Time { return e.at }, month, x.months[month]) {
		if e.kind == "OPER" {
			s.row(e.patient, e.kind, e.detail, x.wall(e.at, slashed), x.wall(e.until, slashed))
		}
	}
	return s.close()
}

func (x *exporter) medicines(month int) error {
	s, err := x.open("meds", month, ',', "HospNo|Drug|Given")
	if err != nil {
		return err
	}
	for _, d := range span(x.world, x.drugs, func(d *drug) time.Time { return d.at }, month, x.months[month]) {
		s.row(d.patient, d.name, x.wall(d.at, named))
	}
	return s.close()
}

func (x *exporter) observations(month int) error {
	s, err := x.open("obs", month, ',', "HospNo|Item|Value|Unit|How|Taken")
	if err != nil {
		return err
	}
	for _, m := range span(x.world, x.measures, func(m *measure) time.Time { return m.at }, month, x.months[month]) {
		s.row(m.patient, m.kind, m.value, m.unit, m.method, x.dateAlone(x.wall(m.at, iso)))
	}
	if x.damaged(month) {
		// A point forgotten: no such weight.
		s.raw(patientNumber(poolStart) + ",WT,6905,kg,M," + x.months[month].Format("2006-01") + "-11T09:30")
	}
	return s.close()
}

// merges writes the numbers that were merged in a month, and no file where there
// are none: some in the month in which the patient came, others up to three months
// later.
func (x *exporter) merges(month int) error {
	came := map[string]int{}
	for _, p := range x.people {
		came[p.id] = x.monthOf(p.known)
	}
	var made []alias
	for _, a := range x.aliases {
		// A number that was merged twice is known by the patient's own digits.
		in := came["T"+a.patient[1:]] + int(a.number[len(a.number)-1]-'0')%4
		if a.number[0] == 'M' {
			in++
		}
		if min(in, x.options.Months-1) == month {
			made = append(made, a)
		}
	}
	if len(made) == 0 {
		return nil
	}
	s, err := x.open("merges", month, ',', "OldNo|NewNo")
	if err != nil {
		return err
	}
	for _, a := range made {
		s.row(a.number, a.patient)
	}
	return s.close()
}

// register writes the patients who came into the register in a month, the first
// time all who stood there, and those whose entry changed: of some the group is
// known a month later.
func (x *exporter) register(month int) error {
	s, err := x.open("register", month, ',', "HospNo|Born|Sex|Group|Rh")
	if err != nil {
		return err
	}
	last := x.options.Months - 1
	for i, p := range x.people {
		came := x.monthOf(p.known)
		grouped := came
		if i%20 == 7 {
			grouped = min(came+1, last)
		}
		if month != came && month != grouped {
			continue
		}
		born, group, rh := "", "", ""
		if !p.born.IsZero() {
			born = p.born.Format(time.DateOnly)
		}
		if month == grouped {
			group, rh = p.abo, [...]string{"POS", "POS", "POS", "POS", "NEG"}[i%5]
		}
		s.row(p.id, born, p.sex, group, rh)
	}
	// Half of those without plasma are old patients, the others come one by one.
	from, to := x.poolKnown(month-1), x.poolKnown(month)
	for i := from; i < to; i++ {
		// What is constant of these follows from their number.
		born := time.Date(1936+i%70, time.Month(1+i%12), 1+i%28, 0, 0, 0, 0, time.UTC)
		s.row(patientNumber(poolStart+i), born.Format(time.DateOnly), [...]string{"F", "M"}[i%2], [...]string{"O", "A", "O", "A", "B", "O", "AB", "A", "O"}[i%9], [...]string{"POS", "NEG", "POS", "POS", "POS", "POS", "POS"}[i%7])
	}
	return s.close()
}

// poolKnown is how many of the patients without plasma the register knows at the
// end of a month.
func (x *exporter) poolKnown(month int) int {
	if month < 0 {
		return 0
	}
	old := x.pool() / 2
	return old + (x.pool()-old)*(month+1)/x.options.Months
}

// counts writes the denominators of use of every month so far, those told in an
// earlier year again.
func (x *exporter) counts(month int) error {
	s, err := x.open("activity", month, ',', "Month|Place|What|N")
	if err != nil {
		return err
	}
	for m := range month + 1 {
		days := int(x.months[m+1].Sub(x.months[m]).Hours()+12) / 24
		beds := x.options.Beds
		for _, c := range []struct {
			what string
			n    int
		}{{"ADM", beds*days/5 + m*7%41}, {"BD", beds*days*88/100 + m*31%97}, {"OPS", beds*days/14 + m*5%23}} {
			s.row(x.months[m].Format("2006-01"), "", c.what, strconv.Itoa(c.n))
		}
	}
	return s.close()
}
