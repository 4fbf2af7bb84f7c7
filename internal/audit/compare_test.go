package audit

import (
	"context"
	"maps"
	"slices"
	"testing"
	"time"

	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// marksOf marks a store by a policy and returns the marks by episode.
func marksOf(t *testing.T, st *store.Store, s *site.Site, p *policy.Policy) map[string]string {
	t.Helper()
	ctx := context.Background()
	if _, err := Mark(ctx, st, s, p); err != nil {
		t.Fatal(err)
	}
	e, err := OpenReader(ctx, st, s)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	_, rows, err := e.Rows(ctx, "marks", "SELECT episode_id, mark FROM episodes")
	if err != nil {
		t.Fatal(err)
	}
	marks := map[string]string{}
	for _, row := range rows {
		marks[row[0].(string)] = row[1].(string)
	}
	return marks
}

func with(t *testing.T, values ...[2]string) *policy.Policy {
	t.Helper()
	p := policy.Default()
	for _, v := range values {
		if err := p.Set(v[0], v[1]); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// TestCompare holds comparisons over the worked episodes against two full
// markings of the same store.
func TestCompare(t *testing.T) {
	ctx := context.Background()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	s := &site.Site{Zone: london, ZoneName: "Europe/London"}
	for _, c := range []struct {
		name, file string
		other      *policy.Policy
		rebuilt    bool
	}{
		{"nothing differs", "worked-11", policy.Default(), false},
		{"a low dose will do", "worked-01", with(t, [2]string{"dose_low", "3"}), false},
		{"a long gap joins", "worked-14", with(t, [2]string{"episode_gap_h", "12"}), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			st := storeOf(t, "testdata/marks/"+c.file+".txtar")
			key, err := st.Key()
			if err != nil {
				t.Fatal(err)
			}
			got, err := Compare(ctx, st, s, policy.Default(), c.other)
			if err != nil {
				t.Fatal(err)
			}
			if _, found := st.LayerFacts("audit"); found {
				t.Error("a comparison wrote to the store")
			}
			before := marksOf(t, st, s, policy.Default())
			after := before
			if c.name != "nothing differs" {
				after = marksOf(t, st, s, c.other)
			}
			changed, common, ownAlone := map[string][2]string{}, 0, []string{}
			for id, mark := range before {
				other, both := after[id]
				if !both {
					ownAlone = append(ownAlone, Pseudonym(key, EpisodeKind, id))
					continue
				}
				common++
				if other != mark {
					changed[Pseudonym(key, EpisodeKind, id)] = [2]string{mark, other}
				}
			}
			listed := map[string][2]string{}
			for _, change := range got.Changes {
				listed[change.Episode] = [2]string{change.From, change.To}
			}
			if !maps.Equal(listed, changed) || got.Changed != len(changed) || got.Episodes != common {
				t.Errorf("%d of %d change: %v; two markings say %d of %d: %v", got.Changed, got.Episodes, listed, len(changed), common, changed)
			}
			sum := 0
			for _, m := range got.Moves {
				sum += m.Episodes
			}
			if sum != got.Changed {
				t.Errorf("moves add up to %d, %d change", sum, got.Changed)
			}
			var alone []string
			for _, e := range got.OnlyOwn {
				alone = append(alone, e.Episode)
			}
			slices.Sort(alone)
			slices.Sort(ownAlone)
			if !slices.Equal(alone, ownAlone) || len(got.OnlyOther) != len(after)-common || got.Rebuilt != c.rebuilt {
				t.Errorf("own alone %v, want %v; other alone %d, want %d; rebuilt %t", alone, ownAlone, len(got.OnlyOther), len(after)-common, got.Rebuilt)
			}
			if c.rebuilt && len(alone) == 0 {
				t.Error("the other gap joins no episodes: the case proves nothing")
			}
			if c.name == "a low dose will do" && len(changed) == 0 {
				t.Error("no mark changes: the case proves nothing")
			}
			if differ := len(got.Values); (differ == 0) != (c.name == "nothing differs") || got.TableDiffers {
				t.Errorf("%d values differ: %v", differ, got.Values)
			}
		})
	}
}

func TestCompareNeedsRecords(t *testing.T) {
	st, err := store.Open(t.TempDir()+"/store", true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	s := &site.Site{Zone: time.UTC, ZoneName: "UTC"}
	if _, err := Compare(context.Background(), st, s, policy.Default(), policy.Default()); err == nil {
		t.Error("an empty store was compared")
	}
}
