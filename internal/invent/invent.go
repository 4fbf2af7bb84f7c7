// Package invent makes a hospital that does not exist, and writes the exports
// that its systems would write: in local codes, in two delimiters and three
// ways to write a time, with the faults that real exports have. It plants
// episodes whose mark follows from how they were made, and writes those truths
// beside the exports, so that what the program finds can be compared.
//
// Every patient, place, code and number is made up. The same seed and options
// give the same bytes.
package invent

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	// The hospital's clock must not depend on the machine's zone files.
	_ "time/tzdata"
)

// Options says how much is invented. The zero value is the demonstration.
type Options struct {
	// Months is how many calendar months are invented, 24 where 0.
	Months int
	// Beds is the size of the hospital, 400 where 0: it scales admissions and
	// red cells, not plasma episodes.
	Beds int
	// End is the last month (any instant in it), October 2026 where zero.
	End time.Time
	// Scale multiplies the plasma episodes and what belongs to them, 1 where 0.
	// 75 gives about 200,000 plasma units in 24 months.
	Scale int
	// Labs is how many laboratory rows of patients without plasma are written,
	// spread evenly over the months; 3,600 a month where 0. They are streamed.
	Labs int64
	// Zone is the hospital's IANA time zone, Europe/Dublin where empty.
	Zone string
	// Children makes most patients newborns and children.
	Children bool
	// Batches has most plasma come in batches, whose bags share a number.
	Batches bool
	// Careless leaves things out, tells times as dates alone, writes pounds as
	// kilograms and gives patients several numbers.
	Careless bool
	// Episodes is how many plasma episodes begin in each month, whatever Scale
	// says, and none of them an exchange; where 0, as many as the scenarios have on
	// average.
	Episodes int
	// Places is how many places give plasma to patients who bleed, the
	// demonstration's where 0.
	Places int
	// NoPlasmaAtEnd lets the last month pass without a bag of plasma.
	NoPlasmaAtEnd bool
	// NoEvents exports no table of events: neither bleeding nor the theatre list.
	NoEvents bool
	// Policy is the text of policy.yaml, the demonstration's where empty.
	Policy string
}

func (o Options) filled() Options {
	if o.Months == 0 {
		o.Months = 24
	}
	if o.Beds == 0 {
		o.Beds = 400
	}
	if o.End.IsZero() {
		o.End = time.Date(2026, time.October, 1, 0, 0, 0, 0, time.UTC)
	}
	if o.Scale == 0 {
		o.Scale = 1
	}
	if o.Labs == 0 {
		o.Labs = 3600 * int64(o.Months)
	}
	if o.Zone == "" {
		o.Zone = "Europe/Dublin"
	}
	return o
}

// Episode is the planted truth of one plasma episode.
type Episode struct {
	// PatientID is the patient's number after aliases are followed.
	PatientID string
	// FirstIssuedAt is the earliest issue, in UTC.
	FirstIssuedAt time.Time
	// FirstUnit is the number of the first unit by (issue, number).
	FirstUnit string
	// Scenario names how it was made.
	Scenario string
	// Complete says that the exports and the policy hold all that a mark needs.
	Complete bool
	// Mark, DoseBand, Basis and Coagulopathy are what must be found; an empty
	// one is not stated.
	Mark, DoseBand, Basis, Coagulopathy string
}

// Truth is what was planted.
type Truth struct {
	// Episodes are in order of patient and first issue.
	Episodes []Episode
	// Files are the base names of the exports, in the order written.
	Files []string
	// Teaching is the day of the teaching session on dosing; zero where the
	// span holds none.
	Teaching time.Time
	// Missing is the month without an export of events, as YYYY-MM, or empty.
	Missing string
}

// Write invents a hospital and writes inbox/, site.yaml, policy.yaml and
// truth.csv into dir, which is made where it is missing.
func Write(dir string, seed uint64, options Options) (Truth, error) {
	options = options.filled()
	if options.Months < 1 || options.Months > 240 || options.Scale < 1 || options.Beds < 1 || options.Labs < 0 || options.Episodes < 0 || options.Places < 0 {
		return Truth{}, fmt.Errorf("invent: found %d months, scale %d, %d beds, %d laboratory rows, %d episodes a month, %d places; wanted 1 to 240 months and none of the others negative",
			options.Months, options.Scale, options.Beds, options.Labs, options.Episodes, options.Places)
	}
	w, err := newWorld(seed, options)
	if err != nil {
		return Truth{}, err
	}
	w.live()
	if err := os.MkdirAll(filepath.Join(dir, "inbox"), 0o750); err != nil {
		return Truth{}, fmt.Errorf("invent: %w", err)
	}
	x := &exporter{world: w, dir: dir, random: rand.New(rand.NewPCG(seed, 0x1ab5))}
	if err := x.write(); err != nil {
		return Truth{}, fmt.Errorf("invent: %w", err)
	}
	truth := Truth{Episodes: w.truths(), Files: x.files, Teaching: w.teaching}
	if w.gap >= 0 {
		truth.Missing = w.months[w.gap].Format("2006-01")
	}
	if err := writeTruth(filepath.Join(dir, "truth.csv"), truth.Episodes); err != nil {
		return Truth{}, fmt.Errorf("invent: %w", err)
	}
	return truth, nil
}

// Small writes one month that holds at least one episode of nearly every
// scenario, for tests that must be quick.
func Small(dir string) (Truth, error) {
	return Write(dir, 1, Options{Months: 1})
}
