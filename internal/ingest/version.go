package ingest

import (
	"slices"
	"sort"

	"thawline/internal/store"
)

// Of two exports of one name (a corrected one that was saved over the first, last
// month's under the name of this one) nothing but their coming says which of them
// is the later: the store numbers them as versions.

// nameOf is the table and the base name of a file.
func nameOf(src source) [2]string { return [2]string{src.feed.Table.Name, src.base} }

// namesakes counts the files of each table and base name, in other folders.
func namesakes(sources []source) map[[2]string]int {
	paths := map[[2]string]map[string]bool{}
	for _, src := range sources {
		name := nameOf(src)
		if paths[name] == nil {
			paths[name] = map[string]bool{}
		}
		paths[name][src.path] = true
	}
	counts := map[[2]string]int{}
	for name, of := range paths {
		counts[name] = len(of)
	}
	return counts
}

// orderSameName puts files of one name that lie there at the same time into the
// order of the hashes of their bytes, so that the same files make the same store.
func (r *run) orderSameName(sources []source) {
	places, hashes := map[[2]string][]int{}, map[string]string{}
	counts := namesakes(sources)
	for i, src := range sources {
		name := nameOf(src)
		if counts[name] < 2 {
			continue
		}
		places[name] = append(places[name], i)
		// A file that cannot be hashed cannot be read either, and take says so.
		hashes[src.path], _ = r.hash(src.path)
	}
	for _, of := range places {
		some := make([]source, len(of))
		for i, place := range of {
			some[i] = sources[place]
		}
		sort.SliceStable(some, func(i, j int) bool { return hashes[some[i].path] < hashes[some[j].path] })
		for i, place := range of {
			sources[place] = some[i]
		}
	}
}

// lies notes that the bytes of a reading lie in their place.
func (r *run) lies(src source, hash string) {
	name := nameOf(src)
	if r.lie[name] == nil {
		r.lie[name] = map[string]bool{}
	}
	r.lie[name][hash] = true
}

// newestAgain makes an older version the newest of its name where its bytes lie in
// the inbox again and those of the newest do not: somebody put it back. Of names
// of which a file failed nobody knows what lies there.
func (r *run) newestAgain(failed map[string]bool) error {
	var again []store.Reading
	for name, hashes := range r.lie {
		if failed[name[0]+name[1]] {
			continue
		}
		versions := versionsOf(r.store, name[0], name[1])
		if len(versions) == 0 || hashes[versions[len(versions)-1].SHA256] {
			continue
		}
		// Of several the one that came last.
		for _, v := range slices.Backward(versions) {
			if hashes[v.SHA256] {
				again = append(again, v)
				break
			}
		}
	}
	sort.Slice(again, func(i, j int) bool { return again[i].File+again[i].Table < again[j].File+again[j].Table })
	for _, v := range again {
		if err := r.store.MakeNewest(v.Table, v.File, v.SHA256); err != nil {
			return err
		}
		r.note("%s: what lies in the inbox is a version (reading %.12s) that had come before another one, which is no longer there: it is the newest of %s again, and wins where both tell of a row", v.File, v.ID, v.Table)
	}
	return nil
}

// versionsOf lists the readings of a table's exports of one name, the newest last.
func versionsOf(st *store.Store, table, file string) []store.Reading {
	versions := st.ReadingsOf(table, file)
	sort.Slice(versions, func(i, j int) bool {
		if versions[i].Version != versions[j].Version {
			return versions[i].Version < versions[j].Version
		}
		return versions[i].ID < versions[j].ID
	})
	return versions
}

// noteVersion says what becomes of what came before under the name of a new reading.
func (r *run) noteVersion(src source, reading store.Reading) {
	var last *store.Reading
	for _, v := range versionsOf(r.store, src.feed.Table.Name, src.base) {
		switch {
		case v.SHA256 != reading.SHA256:
			last = &v
		case v.ID != reading.ID:
			return // Another sheet of the workbook, of which it was said.
		}
	}
	if last == nil {
		return
	}
	r.note("%s: it had come before with other bytes (reading %.12s, %d rows read): where both tell of a row of %s this one wins; rows that only the older one tells of stay, unless thawline withdraw %.12s takes that version back",
		src.base, last.ID, last.Read, last.Table, last.ID)
}
