package store

import (
	"slices"
	"sort"
)

// Withdrawal remembers an export that a person took back. While it stands, the
// same bytes under the same name are not taken in again; other bytes under that
// name (a corrected export) are.
type Withdrawal struct {
	Table  string `json:"table"`
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// Bytes is the export's size, Read the number of its rows.
	Bytes int64 `json:"bytes"`
	Read  int64 `json:"read"`
}

func (w Withdrawal) key() string { return w.File + "\x00" + w.Table + "\x00" + w.SHA256 }

// Withdraw takes readings out of the store and remembers their exports, in one
// step. An id that is not there is passed over.
func (s *Store) Withdraw(ids ...string) error { return s.WithdrawWith(nil, ids...) }

// WithdrawWith is Withdraw, and remembers other exports in the same step: copies of
// those that go, which would come in their place.
func (s *Store) WithdrawWith(others []Withdrawal, ids ...string) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	next := s.manifest.clone()
	for _, w := range others {
		if !slices.ContainsFunc(next.Withdrawn, func(o Withdrawal) bool { return o.key() == w.key() }) {
			next.Withdrawn = append(next.Withdrawn, w)
		}
	}
	for _, r := range s.manifest.Readings {
		if slices.Contains(ids, r.ID) {
			w := Withdrawal{Table: r.Table, File: r.File, SHA256: r.SHA256, Bytes: s.readings[r.ID].Bytes, Read: r.Read}
			if !slices.ContainsFunc(next.Withdrawn, func(o Withdrawal) bool { return o.key() == w.key() }) {
				next.Withdrawn = append(next.Withdrawn, w)
			}
		}
	}
	return s.retire(next, ids)
}

// Withdrawn lists what Withdraw remembers, by name.
func (s *Store) Withdrawn() []Withdrawal { return slices.Clone(s.manifest.Withdrawn) }

// Forget lets the withdrawn exports for which forget holds be taken in again.
func (s *Store) Forget(forget func(Withdrawal) bool) error {
	if err := s.mustWrite(); err != nil {
		return err
	}
	next := s.manifest.clone()
	next.Withdrawn = slices.DeleteFunc(next.Withdrawn, forget)
	if len(next.Withdrawn) == len(s.manifest.Withdrawn) {
		return nil
	}
	return s.commit(next)
}

func sortWithdrawn(all []Withdrawal) {
	sort.Slice(all, func(i, j int) bool { return all[i].key() < all[j].key() })
}
