package status

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"

	"thawline/internal/site"
	"thawline/internal/store"
)

// OtherMaps counts the exports that lie in the inbox and whose readings were made by
// other maps than those that site.yaml states now: the next ingest reads them anew.
func OtherMaps(s *site.Site, st *store.Store) int {
	maps := map[[2]string]bool{}
	for i := range s.Feeds {
		sum := sha256.Sum256(s.Feeds[i].Effective(s))
		maps[[2]string{s.Feeds[i].Table.Name, hex.EncodeToString(sum[:])}] = true
	}
	old := map[[2]string]store.Reading{}
	for _, r := range st.Readings() {
		if !maps[[2]string{r.Table, r.Map}] {
			old[[2]string{r.Table, r.File}] = r
		}
	}
	if len(old) == 0 {
		return 0
	}
	there := map[[2]string]bool{}
	for i := range s.Feeds {
		paths, _ := filepath.Glob(s.Feeds[i].Files) // A pattern that is none finds nothing; ingest says so.
		for _, path := range paths {
			name := [2]string{s.Feeds[i].Table.Name, filepath.Base(path)}
			r, found := old[name]
			// Other bytes under that name are another export.
			if info, err := os.Stat(path); found && err == nil && info.Size() == r.Bytes {
				there[name] = true
			}
		}
	}
	return len(there)
}
