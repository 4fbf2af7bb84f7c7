package ingest

import (
	"context"
	"errors"
	"slices"

	"thawline/internal/contract"
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
// shown says of a table's column whether what was written there may be kept.
func Try(ctx context.Context, s *site.Site, progress Progress, shown func(table, column string) bool) (Trial, error) {
	r := &run{site: s, progress: progress, maps: map[string][]string{}, tableMaps: map[[2]string]bool{}}
	var t Trial
	sources, faults := r.find()
	r.noteUndated(sources)
	for _, src := range sources {
		if err := ctx.Err(); err != nil {
			faults = append(faults, err)
			break
		}
		began := r.done
		problems := normalise.Tally{Keep: func(column string) bool { return shown != nil && shown(src.feed.Table.Name, column) }}
		reading, err := r.readFile(ctx, src, func(o *normalise.Output) error {
			problems.Add(o)
			return nil
		}, func() { problems = normalise.Tally{Keep: problems.Keep} })
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

// noteUndated says of each table of which several files have no date that their
// names alone order them: nobody sees it before a correction is lost.
func (r *run) noteUndated(sources []source) {
	names := map[string][]string{}
	for _, src := range sources {
		if src.date == "" && !slices.Contains(names[src.feed.Table.Name], src.base) {
			names[src.feed.Table.Name] = append(names[src.feed.Table.Name], src.base)
		}
	}
	for _, t := range contract.Feeds() {
		if undated := names[t.Name]; len(undated) > 1 {
			slices.Sort(undated)
			r.note("%s: %d files have no date by a file_date in their names: where two tell of one row, the one whose name stands later in the alphabet wins, so that %s wins over %s", t.Name, len(undated), undated[len(undated)-1], undated[0])
		}
	}
}
