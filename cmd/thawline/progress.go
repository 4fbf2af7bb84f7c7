package main

import (
	"os"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"

	"thawline/internal/ingest"
)

// progress shows how far reading is: a bar on a terminal once work has lasted
// a second, nothing where no person watches.
func progress(s *streams) ingest.Progress {
	file, ok := s.err.(*os.File)
	if !ok || !isatty.IsTerminal(file.Fd()) {
		return nil
	}
	began := time.Now()
	var bar *progressbar.ProgressBar
	return func(name string, done, total int64) {
		if bar == nil {
			if time.Since(began) < time.Second {
				return
			}
			bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(file), progressbar.OptionShowBytes(true),
				progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
		}
		bar.Describe(name)
		bar.Set64(done)
		if done >= total {
			bar.Finish()
		}
	}
}
