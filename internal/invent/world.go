package invent

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"
)

// world is the hospital and everything that happened in it. Times are UTC, to
// the minute; the exports show them as each system would.
type world struct {
	options Options
	wards   []ward
	random  *rand.Rand
	zone    *time.Location
	// months holds the first local midnight of each month, and one more.
	months []time.Time
	// gap is the index of the month whose events were never exported, spell of
	// the month in which a thawer was down, or -1.
	gap, spell int
	teaching   time.Time

	serials  map[int]int
	numbers  int
	bags     int
	people   []*person
	issues   []*issue
	bedside  []*bedside
	results  []*result
	events   []*event
	drugs    []*drug
	measures []*measure
	aliases  []alias
	planted  []Episode
}

type person struct {
	id, sex, abo string
	born         time.Time
	// kg is what a scale would show; cm is 0 where nobody measured.
	kg, cm float64
	// known is from when the patient register knows them.
	known time.Time
}

// issue is a bag handed over, or thawed or lost without being handed over.
type issue struct {
	unit, code, bag, group, patient string
	// shown is the number that the bank's log prints, an alias at times.
	shown                                         string
	ml                                            int
	place, service, requester, reason, activation string
	requested, thawed, issued, left, back, binned time.Time
	expires                                       time.Time
	why, outcome                                  string
	// firstOutcome and firstBack are what the first export told, where a later
	// one corrects it.
	firstOutcome string
	firstBack    time.Time
	checked      bool
}

// at is the time by which the bank files the row.
func (i *issue) at() time.Time {
	for _, t := range []time.Time{i.issued, i.thawed, i.binned} {
		if !t.IsZero() {
			return t
		}
	}
	return time.Time{}
}

type bedside struct {
	unit, code, bag, patient string
	start, end               time.Time
	ml                       int
}

type result struct {
	patient, test, value, unit string
	collected, resulted        time.Time
	poc                        bool
	status                     string
	// later files the row one month after the month of its sample.
	later bool
}

type event struct {
	patient, kind, detail string
	at, until             time.Time
}

type drug struct {
	patient, name string
	at            time.Time
}

type measure struct {
	patient, kind, value, unit, method string
	at                                 time.Time
}

type alias struct{ number, patient string }

func newWorld(seed uint64, o Options) (*world, error) {
	zone, err := time.LoadLocation(o.Zone)
	if err != nil {
		return nil, fmt.Errorf("invent: %w", err)
	}
	w := &world{options: o, wards: placesOf(o.Places), random: rand.New(rand.NewPCG(seed, 0x7a12)), zone: zone, serials: map[int]int{}, gap: -1, spell: -1}
	first := time.Date(o.End.Year(), o.End.Month(), 1, 0, 0, 0, 0, zone).AddDate(0, -(o.Months - 1), 0)
	for m := range o.Months + 1 {
		w.months = append(w.months, first.AddDate(0, m, 0))
	}
	if o.Months >= 12 {
		w.gap = o.Months / 3
		w.teaching = w.months[o.Months/2].AddDate(0, 0, 11)
		w.spell = o.Months * 3 / 4
	}
	return w, nil
}

// monthOf gives the index of the month that holds t, the nearest one where t is
// outside the span.
func (w *world) monthOf(t time.Time) int {
	n, found := slices.BinarySearchFunc(w.months, t, time.Time.Compare)
	if !found {
		n--
	}
	return min(max(n, 0), len(w.months)-2)
}

// between returns a whole number from low to high, ends allowed.
func (w *world) between(low, high int) int { return low + w.random.IntN(high-low+1) }

// chance is true with probability p.
func (w *world) chance(p float64) bool { return w.random.Float64() < p }

// pick returns one of the values.
func pick[T any](w *world, values ...T) T { return values[w.random.IntN(len(values))] }

func minutes(n int) time.Duration { return time.Duration(n) * time.Minute }

// turnsBack reports whether the clock goes back on the local day of t, the day
// before or the day after: ordinary episodes keep away from it, so that no wall
// time of theirs is told twice.
func (w *world) turnsBack(t time.Time) bool {
	day := t.In(w.zone)
	for n := -1; n <= 1; n++ {
		start := time.Date(day.Year(), day.Month(), day.Day()+n, 0, 0, 0, 0, w.zone)
		if start.AddDate(0, 0, 1).Sub(start) > 24*time.Hour {
			return true
		}
	}
	return false
}

// moment picks a time in a month that keeps away from the month's ends and from
// the day on which the clock goes back.
func (w *world) moment(month, fromDay, toDay, fromHour, toHour int) time.Time {
	start := w.months[month]
	last := w.months[month+1].AddDate(0, 0, -1).Day()
	for {
		day := w.between(fromDay, min(toDay, last-2))
		t := time.Date(start.Year(), start.Month(), day, w.between(fromHour, toHour), w.between(0, 59), 0, 0, time.UTC)
		if !w.turnsBack(t) {
			return t
		}
	}
}

func (w *world) newNumber() string {
	w.numbers++
	return patientNumber(w.numbers)
}

// adult makes a patient who was between two ages at a time, with a weight whose
// judgement does not hang on the choice between actual and adjusted weight.
func (w *world) adult(at time.Time, young, old int) *person {
	p := &person{id: w.newNumber(), sex: pick(w, "F", "M"), abo: w.group(), known: at}
	p.born = time.Date(at.Year()-w.between(young, old), time.Month(w.between(1, 12)), w.between(1, 28), 0, 0, 0, 0, time.UTC)
	p.kg = math.Round((w.random.NormFloat64()*13+78)*10) / 10
	p.kg = min(max(p.kg, 48), 118)
	if w.chance(0.6) {
		p.cm = float64(w.between(155, 186))
		// Heavy for the height: nobody measured this one.
		if p.kg > 1.15*devine(p.sex, p.cm) {
			p.cm = 0
		}
	}
	w.people = append(w.people, p)
	return p
}

// devine is the ideal weight in kg of an adult (Devine 1974, from memory: 50 or
// 45.5 kg, and 2.3 kg for each inch over 60).
func devine(sex string, cm float64) float64 {
	base := 45.5
	if sex == "M" {
		base = 50
	}
	return base + 2.3*(cm/2.54-60)
}

// group draws an ABO group; the shares are made up.
func (w *world) group() string {
	switch n := w.random.IntN(100); {
	case n < 50:
		return "O"
	case n < 84:
		return "A"
	case n < 95:
		return "B"
	}
	return "AB"
}

// plasmaFor picks a group of plasma that the recipient may have: O any; A takes
// A and AB; B takes B and AB; AB takes AB.
func (w *world) plasmaFor(abo string) string {
	if w.chance(0.05) {
		return "AB"
	}
	return abo
}

// truths returns what was planted in order of patient and first issue.
func (w *world) truths() []Episode {
	slices.SortFunc(w.planted, func(a, b Episode) int {
		if n := strings.Compare(a.PatientID, b.PatientID); n != 0 {
			return n
		}
		return a.FirstIssuedAt.Compare(b.FirstIssuedAt)
	})
	return w.planted
}
