package ingest

import (
	"context"
	"errors"

	"thawline/internal/normalise"
	"thawline/internal/site"
	"thawline/internal/store"
)

// Trial says what Run would take of a site's files, whatever its store holds.
type Trial struct {
	Report
	// Readings are what the files would become, without stored files.
	Readings []store.Reading
	// Problems counts the lines of problems of each reading, by what is wrong.
	Problems []normalise.ProblemCount
}

// Try reads every file of every feed as Run does, and writes nothing. The error
// joins the faults of all files; the trial holds the sums of those without.
func Try(ctx context.Context, s *site.Site, progress Progress) (Trial, error) {
	r := &run{site: s, progress: progress, maps: map[string][]string{}, feedMaps: map[string]bool{}}
	var t Trial
	sources, faults := r.find()
	for _, src := range sources {
		if err := ctx.Err(); err != nil {
			faults = append(faults, err)
			break
		}
		began := r.done
		var problems normalise.Tally
		reading, err := r.readFile(ctx, src, func(o *normalise.Output) error {
			problems.Add(o)
			return nil
		})
		r.done = began + src.size
		if err != nil {
			faults = append(faults, err)
			continue
		}
		r.add(reading, false)
		t.Readings = append(t.Readings, reading)
		t.Problems = append(t.Problems, problems.Counts(reading.Table, reading.File)...)
	}
	t.Report = r.report
	return t, errors.Join(faults...)
}
