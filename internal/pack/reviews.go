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
	byName, err := knownEpisodes(ctx, e, in.key, in.allMarks)
	if err != nil {
		return err
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
			in.reviewsLater++
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

// knownEpisodes are the episodes of the store, and those that a pack of it ever showed,
// by the number that pages show. The engine holds episodes.
func knownEpisodes(ctx context.Context, e *engine.Engine, key []byte, allMarks []string) (map[string]string, error) {
	if err := e.View(ctx, "said_by_any_pack", contract.PackMarks.Columns, allMarks, ""); err != nil {
		return nil, err
	}
	_, rows, err := e.Rows(ctx, "reviews", "SELECT episodes.episode_id FROM episodes UNION SELECT said_by_any_pack.episode_id FROM said_by_any_pack ORDER BY 1")
	if err != nil {
		return nil, err
	}
	byName := map[string]string{}
	for _, r := range rows {
		id := r[0].(string)
		byName[audit.Pseudonym(key, audit.EpisodeKind, id)] = id
	}
	return byName, nil
}

// CheckReviews says which of the words of those who read cases are of an episode that
// neither the store nor a pack of it knows, each with its place.
func CheckReviews(ctx context.Context, st *store.Store, s *site.Site, all []site.Review) error {
	if len(all) == 0 {
		return nil
	}
	key, err := st.Key()
	if err != nil {
		return err
	}
	e, err := audit.OpenReader(ctx, st, s)
	if err != nil {
		return err
	}
	defer e.Close()
	known, err := knownEpisodes(ctx, e, key, allMarks(st))
	if err != nil {
		return err
	}
	var unknown []site.Review
	for _, r := range all {
		if known[r.Episode] == "" {
			unknown = append(unknown, r)
		}
	}
	return site.UnknownReviews(s, unknown)
}

// allMarks lists the files in which every pack of the store keeps what it said.
func allMarks(st *store.Store) []string {
	var files []string
	for _, pack := range st.Packs() {
		files = append(files, st.LayerFiles(pack, "marks")...)
	}
	return files
}
