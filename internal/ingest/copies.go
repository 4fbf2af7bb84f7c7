package ingest

import (
	"slices"
	"strings"

	"thawline/internal/store"
)

// The same bytes under two names are one export: a copy, or a file that somebody
// renamed. Read twice, its rows and its problems would count twice. Where both lie
// in the inbox the one that stands later among the sources is read: it would win
// over the other in each of its rows. An export without rows is no copy of another
// one without: the name alone tells which month held nothing.

// like is what two copies have in common at first sight.
type like struct {
	table, mapHash string
	size           int64
}

func likeOf(src source) like { return like{src.feed.Table.Name, src.mapHash, src.size} }

// alikes counts the names under which files of one size are read by one map.
func alikes(sources []source) map[like]int {
	names := map[like]map[string]bool{}
	for _, src := range sources {
		if names[likeOf(src)] == nil {
			names[likeOf(src)] = map[string]bool{}
		}
		names[likeOf(src)][src.base] = true
	}
	counts := map[like]int{}
	for l, of := range names {
		counts[l] = len(of)
	}
	return counts
}

// underOtherName says that the store has a reading of the file's size and table
// under another name.
func (r *run) underOtherName(src source) bool {
	return slices.ContainsFunc(r.store.ReadingsOfSize(src.feed.Table.Name, src.size), func(old store.Reading) bool { return old.File != src.base })
}

// copies gives the place of each file that is a copy of another one, and the place
// of that one. What was withdrawn under its name is no copy: it is not taken.
func (r *run) copies(sources []source) map[int]int {
	counts := alikes(sources)
	groups := map[[3]string][]int{}
	for i, src := range sources {
		if r.hashes[src.path] == nil {
			continue
		}
		hash, err := r.hash(src.path)
		if err != nil {
			continue // take says so.
		}
		_, withdrawn := known(r.store, src)
		if slices.ContainsFunc(withdrawn, func(w store.Withdrawal) bool { return w.SHA256 == hash }) {
			continue
		}
		r.inbox[[3]string{src.feed.Table.Name, src.base, hash}] = true
		if src.size > 0 && counts[likeOf(src)] > 1 {
			key := [3]string{src.feed.Table.Name, src.mapHash, hash}
			groups[key] = append(groups[key], i)
		}
	}
	copies := map[int]int{}
	for _, of := range groups {
		last := slices.MaxFunc(of, func(a, b int) int { return strings.Compare(placeOf(sources[a]), placeOf(sources[b])) })
		for _, i := range of {
			if sources[i].base != sources[last].base {
				copies[i] = last
			}
		}
	}
	return copies
}

// placeOf orders files by the date in their name and by their name.
func placeOf(src source) string { return src.date + "\x00" + src.base }

// isTaken says that the store has a reading with rows of a file that was hashed.
func (r *run) isTaken(src source) bool {
	hash, err := r.hash(src.path)
	if err != nil {
		return false
	}
	reading, found := r.store.Reading(readingID(src, hash))
	return found && reading.Read > 0
}

// otherNames lists the readings of the same bytes under other names, by the same
// map or by one that no feed of the table states any more.
func (r *run) otherNames(src source, hash string) (others []store.Reading) {
	for _, old := range r.store.ReadingsOfSize(src.feed.Table.Name, src.size) {
		if old.File != src.base && old.SHA256 == hash && old.Read > 0 && (old.Map == src.mapHash || !r.tableMaps[[2]string{old.Table, old.Map}]) {
			others = append(others, old)
		}
	}
	slices.SortFunc(others, func(a, b store.Reading) int { return strings.Compare(a.File, b.File) })
	return others
}

// dropEarlierNames takes out what the store holds of a file's bytes under other
// names, though it is there already: an older program read them twice, or the other
// name has gone. A later name that is no longer in the inbox keeps its reading.
func (r *run) dropEarlierNames(src source, reading store.Reading) error {
	others := slices.DeleteFunc(r.otherNames(src, reading.SHA256), func(old store.Reading) bool {
		return old.Date+"\x00"+old.File > placeOf(src) && !r.inbox[[3]string{old.Table, old.File, old.SHA256}]
	})
	if len(others) == 0 {
		return nil
	}
	r.noteNames(src, others)
	return r.store.Retire(idsOf(others)...)
}

// noteNames says which readings gave way to that of a file of the same bytes. Of a
// copy that lies in the inbox still, Run says it.
func (r *run) noteNames(src source, others []store.Reading) {
	for _, old := range others {
		if !r.inbox[[3]string{old.Table, old.File, old.SHA256}] {
			r.note("%s: the same bytes as %s, which is no longer in its place: it is renamed, and its rows stand under the new name alone", src.base, old.File)
		}
	}
}

func idsOf(readings []store.Reading) (ids []string) {
	for _, reading := range readings {
		ids = append(ids, reading.ID)
	}
	return ids
}
