package pack

import (
	"os"
	"path/filepath"

	"thawline/internal/figure"
)

// sitePanels is a folder in which a site keeps panels of its own: one SQL file
// a figure, and panels.yaml with sections like those of the dashboard.
type sitePanels struct{ dir string }

// into adds the folder's sections before the last one. A figure of the site may
// not take the name of one of ours.
func (s sitePanels) into(d *figure.Dashboard, defined map[string]*figure.Definition) error {
	if _, err := os.Stat(filepath.Join(s.dir, "panels.yaml")); err != nil {
		return nil
	}
	own, err := figure.Load(os.DirFS(s.dir), ".", s.dir)
	if err != nil {
		return err
	}
	extra, err := figure.LoadDashboard(os.DirFS(s.dir), "panels.yaml", own)
	if err != nil {
		return err
	}
	for name, one := range own {
		if defined[name] == nil {
			defined[name] = one
			continue
		}
		return &nameTakenError{one.Path}
	}
	last := len(d.Sections) - 1
	d.Sections = append(d.Sections[:last:last], append(extra.Sections, d.Sections[last])...)
	return nil
}

type nameTakenError struct{ path string }

func (e *nameTakenError) Error() string {
	return e.path + ": a figure of this name stands in the program already: give the file another name"
}
