package status

import (
	"os"
	"path/filepath"
	"slices"

	"thawline/internal/site"
	"thawline/internal/store"
)

// versions are the numbers by which the store tells the exports of each table and
// name apart, in order: they have gaps where one was withdrawn.
type versions map[[2]string][]int64

func versionsOf(readings []store.Reading) versions {
	all := versions{}
	for _, r := range readings {
		if name := [2]string{r.Table, r.File}; !slices.Contains(all[name], r.Version) {
			all[name] = append(all[name], r.Version)
		}
	}
	for _, of := range all {
		slices.Sort(of)
	}
	return all
}

type version struct{ no, of int }

// place says which of how many a reading is.
func (v versions) place(r store.Reading) version {
	of := v[[2]string{r.Table, r.File}]
	return version{slices.Index(of, r.Version) + 1, len(of)}
}

// inInbox says whether the bytes of a reading lie in the inbox under its name.
func inInbox(s *site.Site, r store.Reading) bool {
	for _, feed := range s.Feeds {
		if feed.Table.Name != r.Table {
			continue
		}
		paths, _ := filepath.Glob(feed.Files) // A pattern that is none finds nothing; ingest says so.
		for _, path := range paths {
			if info, err := os.Stat(path); err != nil || filepath.Base(path) != r.File || info.Size() != r.Bytes {
				continue
			}
			if hash, err := store.HashFile(path); err == nil && hash == r.SHA256 {
				return true
			}
		}
	}
	return false
}
