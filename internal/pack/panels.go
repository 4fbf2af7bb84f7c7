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

// panelsName is the file of that folder which says which panels stand in which order.
const panelsName = "panels.yaml"

// CheckPanels reads the committee's dashboard and the panels of a site's own
// and says every fault in them, with its place; n counts the site's own. It draws
// nothing.
func CheckPanels(s *site.Site) (n int, err error) {
	ours, _, err := panels(nil)
	if err != nil {
		return 0, err
	}
	all, _, err := panels([]sitePanels{{filepath.Join(s.Dir, ownPanels)}})
	if err != nil {
		return 0, err
	}
	for _, section := range all.Sections {
		n += len(section.Panels)
	}
	for _, section := range ours.Sections {
		n -= len(section.Panels)
	}
	return n, nil
}

// Unused is a file of a site's own, by its place beside site.yaml, that no pack shows.
type Unused struct {
	File string
	Why  int
}

// Why a file is not used.
const (
	OtherFolder = iota // Panels stand in the folder panels alone.
	OtherName          // The dashboard of a site's own is panels.yaml.
	NoPanels           // There is no panels.yaml.
	NotNamed           // It names no such figure.
)

// UnusedPanels names the figures and dashboards of a site's own that no pack shows:
// figures that panels.yaml does not name, files of another name, and those that stand
// in another folder than panels.
func UnusedPanels(s *site.Site) (unused []Unused) {
	dir := filepath.Join(s.Dir, ownPanels)
	listed := map[string]bool{}
	_, err := os.Stat(filepath.Join(dir, panelsName))
	if err == nil {
		own, loadErr := figure.Load(os.DirFS(dir), ".", dir)
		if loadErr != nil {
			return nil // CheckPanels says why.
		}
		d, loadErr := figure.LoadDashboard(os.DirFS(dir), panelsName, own)
		if loadErr != nil {
			return nil
		}
		for _, section := range d.Sections {
			for _, p := range section.Panels {
				listed[p.Figure+".sql"] = true
			}
		}
	}
	for _, folder := range []string{ownPanels, "panel", "figures", "dashboards", "queries"} {
		entries, _ := os.ReadDir(filepath.Join(s.Dir, folder)) // A folder that is not there holds none.
		for _, entry := range entries {
			name := entry.Name()
			place := folder + "/" + name
			sql, yaml := filepath.Ext(name) == ".sql", filepath.Ext(name) == ".yaml" || filepath.Ext(name) == ".yml"
			switch {
			case !sql && !yaml || folder == ownPanels && (name == panelsName || listed[name]):
			case folder != ownPanels:
				unused = append(unused, Unused{place, OtherFolder})
			case yaml:
				unused = append(unused, Unused{place, OtherName})
			case err != nil:
				unused = append(unused, Unused{place, NoPanels})
			default:
				unused = append(unused, Unused{place, NotNamed})
			}
		}
	}
	return unused
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
	if _, err := os.Stat(filepath.Join(s.dir, panelsName)); err != nil {
		return nil
	}
	own, err := figure.Load(os.DirFS(s.dir), ".", s.dir)
	if err != nil {
		return err
	}
	extra, err := figure.LoadDashboard(os.DirFS(s.dir), panelsName, own)
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
