package audit

import (
	"context"
	"errors"
	"fmt"
	"time"

	"thawline/internal/site"
	"thawline/internal/store"
)

// ErrNoEpisodes says that the store has nothing to report on.
var ErrNoEpisodes = errors.New("the store holds no episode: run thawline ingest and thawline mark first, and see whether any plasma unit carries a patient and an issue time")

// LastWholeMonth returns the last month, YYYY-MM, that the records cover to its
// end: the last day known is that of the newest issue or of the newest export
// that bears a date. Where not even the first month is whole, it is that one.
func LastWholeMonth(ctx context.Context, st *store.Store, s *site.Site) (string, error) {
	e, err := OpenReader(ctx, st, s)
	if err != nil {
		return "", err
	}
	defer e.Close()
	_, rows, err := e.Rows(ctx, "last month", "SELECT min(episodes.month), strftime(max(issues.issued_local), '%Y-%m-%d') FROM episodes, issues")
	if err != nil {
		return "", err
	}
	first, _ := rows[0][0].(string)
	last, _ := rows[0][1].(string)
	if first == "" {
		return "", ErrNoEpisodes
	}
	for _, r := range st.Readings() {
		last = max(last, r.Date)
	}
	day, err := time.Parse(time.DateOnly, last)
	if err != nil {
		return "", fmt.Errorf("last day of the records: %w", err)
	}
	// The month before the one of the day after: the day's own month if it is
	// that month's last, else the month before.
	next := day.AddDate(0, 0, 1)
	month := time.Date(next.Year(), next.Month()-1, 1, 0, 0, 0, 0, time.UTC)
	return max(first, month.Format("2006-01")), nil
}
