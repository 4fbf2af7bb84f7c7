package pack

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"thawline/dashboards"
	"thawline/internal/figure"
	"thawline/internal/site"
	"thawline/queries"
)

// sitePanels is a folder in which a site keeps panels of its own: one SQL file
// a figure, and panels.yaml with sections like those of the dashboard. shown is the
// folder as errors show it.
type sitePanels struct{ dir, shown string }

// ownPanels is the folder of a site's own panels, beside its site.yaml; panelsFile says
// there how they are shown.
const (
	ownPanels  = "panels"
	panelsFile = "panels.yaml"
)

// UnusedPanels names the figures and dashboards of a site's own that stand in a folder
// of another name than panels, as somebody may guess it, and so in no pack.
func UnusedPanels(s *site.Site) (unused []string) {
	for _, folder := range []string{"panel", "figures", "dashboards", "queries"} {
		entries, _ := os.ReadDir(filepath.Join(s.Dir, folder)) // A folder that is not there holds none.
		for _, entry := range entries {
			if kind := path.Ext(entry.Name()); kind == ".sql" || kind == ".yaml" || kind == ".yml" {
				unused = append(unused, folder+"/"+entry.Name())
			}
		}
	}
	return unused
}

// panelsOf is where a site's own panels would be.
func panelsOf(s *site.Site) []sitePanels {
	return []sitePanels{{filepath.Join(s.Dir, ownPanels), filepath.ToSlash(filepath.Join(filepath.Dir(s.Path), ownPanels))}}
}

// PanelFaults is what is wrong with a site's own panels. No pack is written while there
// is one.
type PanelFaults struct{ List []error }

// Error lists the faults, a line each, and says what to do.
func (f *PanelFaults) Error() string {
	var b strings.Builder
	for _, err := range f.List {
		fmt.Fprintf(&b, "%v\n", err)
	}
	return b.String() + "Next: mend the panel (thawline check tries panels without records), or move it out of the folder " + ownPanels + "; nothing was written"
}

// Unwrap gives the faults.
func (f *PanelFaults) Unwrap() []error { return f.List }

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
// not take the name of one of ours. All faults come back at once.
func (s sitePanels) into(d *figure.Dashboard, defined map[string]*figure.Definition) error {
	own, err := s.load(defined)
	if err != nil || own == nil {
		return err
	}
	maps.Copy(defined, own.figures)
	last := len(d.Sections) - 1
	d.Sections = append(d.Sections[:last:last], append(own.dashboard.Sections, d.Sections[last])...)
	return nil
}

// own is what stands in a folder of panels.
type own struct {
	figures   map[string]*figure.Definition
	dashboard *figure.Dashboard
	// notes tell what lies there and is not used.
	notes []string
}

// load reads the folder; it is nil where there is none, or nothing in it. taken are the
// names of the program's figures.
func (s sitePanels) load(taken map[string]*figure.Definition) (*own, error) {
	entries, err := os.ReadDir(s.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	faults := &PanelFaults{}
	fault := func(err error) { faults.List = append(faults.List, err) }
	if err != nil {
		fault(fmt.Errorf("%s: cannot be read: %w", s.shown, reasonOf(err)))
		return nil, faults
	}
	one := &own{figures: map[string]*figure.Definition{}}
	note := func(format string, args ...any) { one.notes = append(one.notes, fmt.Sprintf(format, args...)) }
	stated := false
	var files []string
	for _, entry := range entries {
		name, shown := entry.Name(), path.Join(s.shown, entry.Name())
		switch {
		case name == panelsFile:
			stated = true
		case path.Ext(name) == ".sql":
			files = append(files, name)
		case strings.EqualFold(path.Ext(name), ".yml") || strings.EqualFold(path.Ext(name), ".yaml") || strings.EqualFold(path.Ext(name), ".sql"):
			note("%s is not read: panels are stated in %s, and a figure's file ends in .sql", shown, path.Join(s.shown, panelsFile))
		}
	}
	for _, name := range files {
		shown := path.Join(s.shown, name)
		text, err := os.ReadFile(filepath.Join(s.dir, name))
		if err != nil {
			fault(fmt.Errorf("%s: cannot be read: %w", shown, reasonOf(err)))
			continue
		}
		// Editors of another system add a mark in front and a sign to each line.
		f, err := figure.Parse(shown, strings.ReplaceAll(strings.TrimPrefix(string(text), "\ufeff"), "\r\n", "\n"))
		switch {
		case err != nil:
			fault(err)
			continue
		case taken[f.Name] != nil:
			fault(fmt.Errorf("%s: a figure of this name stands in the program already: give the file another name", shown))
		}
		f.Own, f.Local = true, true
		one.figures[f.Name] = f
	}
	if !stated {
		if len(files) > 0 {
			note("%s has no %s: its %d figures are in no pack", s.shown, panelsFile, len(files))
		}
		one.dashboard = &figure.Dashboard{}
	} else if len(faults.List) == 0 {
		// What is wrong with a figure would be told again by each panel of it.
		if one.dashboard, err = figure.LoadOwn(os.DirFS(s.dir), panelsFile, s.shown, one.figures); err != nil {
			fault(err)
		}
	}
	if len(faults.List) > 0 {
		return nil, faults
	}
	for i := range one.dashboard.Sections {
		one.dashboard.Sections[i].Local = true
	}
	for _, name := range slices.Sorted(maps.Keys(one.figures)) {
		used := slices.ContainsFunc(one.dashboard.Sections, func(section figure.Section) bool {
			return slices.ContainsFunc(section.Panels, func(p figure.Panel) bool { return p.Figure == name })
		})
		if !used && stated {
			note("%s is in no panel of %s", one.figures[name].Path, path.Join(s.shown, panelsFile))
		}
	}
	return one, nil
}

// reasonOf is why a file cannot be read, without its path.
func reasonOf(err error) error {
	var reason *fs.PathError
	if errors.As(err, &reason) {
		return reason.Err
	}
	return err
}
