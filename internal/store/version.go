package store

import (
	"cmp"
	"slices"
)

// named says whether two entries are of one table and one export's name.
func (r *Entry) named(table, file string) bool { return r.Table == table && r.File == file }

// countVersions gives a version to the readings of a manifest that an older
// program wrote, which ordered those of one name by the hash of their bytes: they
// keep that order.
func (m *manifest) countVersions() {
	without := map[[2]string][]*Entry{}
	for i := range m.Readings {
		if r := &m.Readings[i]; r.Version == 0 {
			name := [2]string{r.Table, r.File}
			without[name] = append(without[name], r)
		}
	}
	for _, of := range without {
		slices.SortFunc(of, func(a, b *Entry) int { return cmp.Compare(a.SHA256, b.SHA256) })
		for i, r := range of {
			switch {
			case i == 0:
				r.Version = 1
			case r.SHA256 == of[i-1].SHA256:
				r.Version = of[i-1].Version
			default:
				r.Version = of[i-1].Version + 1
			}
		}
	}
}

// newestOf is the highest version of a table's exports of one name, or 0.
func (m *manifest) newestOf(table, file string) (newest int64) {
	for i := range m.Readings {
		if r := &m.Readings[i]; r.named(table, file) {
			newest = max(newest, r.Version)
		}
	}
	return newest
}

// versionFor is the version of a reading that comes: that of the same bytes, which
// another map read or another sheet holds, or the next.
func (m *manifest) versionFor(r *Reading) int64 {
	for _, old := range m.Readings {
		if old.named(r.Table, r.File) && old.SHA256 == r.SHA256 {
			return old.Version
		}
	}
	return m.newestOf(r.Table, r.File) + 1
}

// MakeNewest makes the version of those bytes the newest among a table's exports
// of one name.
func (s *Store) MakeNewest(table, file, sha256 string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	next := s.manifest.clone()
	newest, changed := next.newestOf(table, file), map[string]bool{}
	for i := range next.Readings {
		if r := &next.Readings[i]; r.named(table, file) && r.SHA256 == sha256 && r.Version < newest {
			r.Version, changed[r.ID] = newest+1, true
		}
	}
	if len(changed) == 0 {
		return nil
	}
	if err := s.commit(next); err != nil {
		return err
	}
	for id := range changed {
		if r, found := s.readings[id]; found {
			r.Version = newest + 1
			s.readings[id] = r
		}
	}
	return nil
}
