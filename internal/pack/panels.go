package pack

import (
	"os"
	"path/filepath"

	"thawline/dashboards"
	"thawline/internal/figure"
	"thawline/internal/site"
	"thawline/queries"
)

// sitePanels is a folder in which a site keeps panels of its own: one SQL file
// a figure, and panels.yaml with sections like those of the dashboard.
type sitePanels struct{ dir string }

// ownPanels is the folder of a site's own panels, beside its site.yaml.
const ownPanels = "panels"

// CheckPanels reads the committee's dashboard and the panels of a site's own
// and says every fault in them, with its place. It draws nothing.
func CheckPanels(s *site.Site) error {
	_, _, err := panels([]sitePanels{{filepath.Join(s.Dir, ownPanels)}})
	return err
}

// panels reads the dashboard with the site's own sections, and the figures.
func panels(extras []sitePanels) (*figure.Dashboard, map[string]*figure.Definition, error) {
	defined, err := figure.Load(queries.FS, "figures", "queries/figures")
	if err != nil {
		return nil, nil, err
	}
	dashboard, err := figure.LoadDashboard(dashboards.FS, "committee.yaml", defined)
	if err != nil {
		return nil, nil, err
	}
	for _, extra := range extras {
		if err := extra.into(dashboard, defined); err != nil {
			return nil, nil, err
		}
	}
	return dashboard, defined, nil
}

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
			one.Local, defined[name] = true, one
			continue
		}
		return &nameTakenError{one.Path}
	}
	for i := range extra.Sections {
		extra.Sections[i].Local = true
	}
	last := len(d.Sections) - 1
	d.Sections = append(d.Sections[:last:last], append(extra.Sections, d.Sections[last])...)
	return nil
}

type nameTakenError struct{ path string }

func (e *nameTakenError) Error() string {
	return e.path + ": a figure of this name stands in the program already: give the file another name"
}
