package pack

import (
	"context"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/site"
	"thawline/internal/store"
)

// loadReviews gives the engine reviewed: the latest word on each episode, of
// those said by the report date. A number that no episode has, and that no
// pack of the store ever showed, is an error with its place.
func (in *input) loadReviews(ctx context.Context, e *engine.Engine) error {
	columns := []contract.Column{{Name: "episode_id"}, {Name: "word"}}
	if len(in.reviews) == 0 {
		return e.Load(ctx, "reviewed", columns, nil)
	}
	if err := e.View(ctx, "said_by_any_pack", contract.PackMarks.Columns, in.allMarks, ""); err != nil {
		return err
	}
	_, rows, err := e.Rows(ctx, "reviews", "SELECT episodes.episode_id FROM episodes UNION SELECT said_by_any_pack.episode_id FROM said_by_any_pack ORDER BY 1")
	if err != nil {
		return err
	}
	byName := map[string]string{}
	for _, r := range rows {
		id := r[0].(string)
		byName[audit.Pseudonym(in.key, audit.EpisodeKind, id)] = id
	}
	var unknown []site.Review
	var order []string
	latest := map[string]site.Review{}
	for _, r := range in.reviews {
		id, known := byName[r.Episode]
		if !known {
			unknown = append(unknown, r)
			continue
		}
		if day(r.Date) > in.today {
			continue
		}
		if before, twice := latest[id]; !twice {
			order = append(order, id)
		} else if r.Date.Before(before.Date) {
			continue
		}
		latest[id] = r
	}
	if len(unknown) > 0 {
		return site.UnknownReviews(in.site, unknown)
	}
	told := make([][]any, len(order))
	for i, id := range order {
		told[i] = []any{id, latest[id].Word}
	}
	return e.Load(ctx, "reviewed", columns, told)
}

// allMarks lists the files in which every pack of the store keeps what it said.
func allMarks(st *store.Store) []string {
	var files []string
	for _, pack := range st.Packs() {
		files = append(files, st.LayerFiles(pack, "marks")...)
	}
	return files
}
