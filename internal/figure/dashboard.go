package figure

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
)

// Dashboard is one page of the pack: sections of panels, in order.
type Dashboard struct {
	Sections []Section `yaml:"sections"`
}

// Section is one part of the page.
type Section struct {
	// Section is its title.
	Section string `yaml:"section"`
	// Intro is a line under it.
	Intro string `yaml:"intro"`
	// NotRun says why there is nothing, in a version without its figures.
	NotRun string `yaml:"not_run"`
	// Page names a part that the pack writes itself: one of pages.
	Page   string  `yaml:"page"`
	Panels []Panel `yaml:"panels"`
	// Local says that it is a site's own, whose numbers stand as the site wrote them.
	Local bool `yaml:"-"`
}

// Panel is one figure on the page.
type Panel struct {
	// Figure names a file of queries/figures.
	Figure string `yaml:"figure"`
	// Asks is the question; without it the figure's own.
	Asks string `yaml:"asks"`
	// Says is the sentence, with {name} for values of the answer, {share} and
	// {interval} made from n and of; in a chart of rates {rate} and {interval}
	// made from the answer's value named like Y[0], and of.
	Says string `yaml:"says"`
	// SaysNone is the sentence where of is 0 or nothing was found.
	SaysNone string `yaml:"says_none"`
	// SaysZero is the sentence where n is 0 of some: then there is nothing to list.
	SaysZero string `yaml:"says_zero"`
	// Without tells, by feed, what is said where the site does not have it.
	Without []Without `yaml:"without"`
	// Chart is one of Charts.
	Chart string `yaml:"chart"`
	// X and Y name points columns; Y may be several.
	X string   `yaml:"x"`
	Y []string `yaml:"y"`
	// Columns names the points columns that its table has; all where it names none.
	Columns []string `yaml:"columns"`
	// Per is the denominator of a rate: so many of Y[1].
	Per float64 `yaml:"per"`
	// Unit is written on the axis of values.
	Unit string `yaml:"unit"`
	// XTitle is written on the other axis.
	XTitle string `yaml:"x_title"`
	// Band names the policy values of a dose band, its ends and its tolerance: a
	// histogram is shaded between them, other charts have a note.
	Band []string `yaml:"band"`
	// Lines names numbers of the answer at which a chart of bands has a dashed line: the
	// points' column low says where each begins.
	Lines []string `yaml:"lines"`
	// Hue names the fate of bags whose hue the bars have, where they count no other.
	Hue string `yaml:"hue"`
	// Note stands under the figure, with {name} for values of the answer.
	Note string `yaml:"note"`
	// NoInterval says that what the sentence counts is no sample, so that it has no
	// interval.
	NoInterval bool `yaml:"no_interval"`
	// Beside names what published audits measured, with year and country.
	Beside string `yaml:"beside"`
}

// Without is what a panel says where a feed is lacking, beside that the noughts are
// left out which nobody counted (the header's needs).
type Without struct {
	// Feed is a feed of the contract, or bleeding.
	Feed string `yaml:"feed"`
	// Says stands in the place of the sentence, Adds after it; SaysNone in the place of
	// the sentence where there is nothing, where that is not what Says says.
	Says     string `yaml:"says"`
	SaysNone string `yaml:"says_none"`
	Adds     string `yaml:"adds"`
	// Nothing says that the figure has nothing to draw or to list beside what Says says.
	Nothing bool `yaml:"nothing"`
}

// pages names the parts that the pack writes itself.
var pages = []string{"answer", "trust", "decisions", "judged"}

// Charts lists the kinds of chart.
var Charts = []string{"control", "rate", "stacked", "bars", "histogram", "funnel", "effect", "quartiles", "lines", "rows", "between", "before_after", "shares", "table"}

// LoadDashboard reads a dashboard strictly and checks it against the figures:
// every fault is told, with its place.
func LoadDashboard(fsys fs.FS, file string, figures map[string]*Definition) (*Dashboard, error) {
	text, err := fs.ReadFile(fsys, file)
	if err != nil {
		return nil, fmt.Errorf("read the dashboard: %w", err)
	}
	var d Dashboard
	if err := yaml.NewDecoder(bytes.NewReader(text), yaml.Strict()).Decode(&d); err != nil {
		return nil, fmt.Errorf("%s: %s", file, yaml.FormatError(err, false, true))
	}
	var errs []error
	for i, s := range d.Sections {
		place := fmt.Sprintf("%s: section %d (%s)", file, i+1, s.Section)
		if s.Section == "" {
			errs = append(errs, fmt.Errorf("%s has no title", place))
		}
		if s.NotRun == "" && s.Page == "" && len(s.Panels) == 0 {
			errs = append(errs, fmt.Errorf("%s has neither panels nor not_run", place))
		}
		if !slices.Contains(append([]string{""}, pages...), s.Page) {
			errs = append(errs, fmt.Errorf("%s: page %q is none of %s", place, s.Page, strings.Join(pages, ", ")))
		}
		for j, p := range s.Panels {
			errs = append(errs, p.check(fmt.Sprintf("%s, panel %d", place, j+1), figures))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return &d, nil
}

func (p *Panel) check(place string, figures map[string]*Definition) error {
	d := figures[p.Figure]
	if d == nil {
		return fmt.Errorf("%s: there is no figure %q: write queries/figures/%s.sql", place, p.Figure, p.Figure)
	}
	var errs []error
	if !slices.Contains(Charts, p.Chart) {
		errs = append(errs, fmt.Errorf("%s: chart %q is none of %s", place, p.Chart, strings.Join(Charts, ", ")))
	}
	if p.Says == "" {
		errs = append(errs, fmt.Errorf("%s: says is missing: every figure has its sentence", place))
	}
	names := append([]string{p.X}, p.Y...)
	if p.Chart == "table" {
		names = nil
	}
	for _, name := range names {
		if !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == name }) {
			errs = append(errs, fmt.Errorf("%s: figure %s has no points column %q", place, p.Figure, name))
		}
	}
	for _, name := range p.Columns {
		if !slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == name && c.Kind.InTable() }) {
			errs = append(errs, fmt.Errorf("%s: the table of figure %s has no column %q", place, p.Figure, name))
		}
	}
	all := []string{p.Says, p.SaysNone, p.SaysZero, p.Note}
	for _, one := range p.Without {
		if all = append(all, one.Says, one.SaysNone, one.Adds); !knownFeed(one.Feed) || (one.Says == "") == (one.Adds == "") || one.Says == "" && (one.SaysNone != "" || one.Nothing) {
			errs = append(errs, fmt.Errorf("%s: without names a feed (%q), and either says or adds", place, one.Feed))
		}
	}
	for _, says := range all {
		for _, name := range Holes(says) {
			known := slices.Contains([]string{"share", "rate", "interval", "period", "span"}, name) || p.Chart == "before_after" && slices.Contains(beforeAfterValues, name)
			if !known && !slices.ContainsFunc(d.Answer, func(c Column) bool { return c.Name == name }) {
				errs = append(errs, fmt.Errorf("%s: the answer of figure %s has no {%s}", place, p.Figure, name))
			}
		}
	}
	if (p.Chart == "rate") != (p.Per > 0) {
		errs = append(errs, fmt.Errorf("%s: per is the denominator of a chart of rates, over 0, and of no other chart", place))
	}
	if p.Chart == "rate" && len(p.Y) == 2 {
		for _, name := range []string{p.Y[0], "of"} {
			if !slices.ContainsFunc(d.Answer, func(c Column) bool { return c.Name == name }) {
				errs = append(errs, fmt.Errorf("%s: the answer of figure %s has no %q, from which its rate is made", place, p.Figure, name))
			}
		}
	}
	for _, name := range p.Lines {
		low := slices.ContainsFunc(d.Points, func(c Column) bool { return c.Name == "low" && c.Kind == Place })
		if !low || !slices.ContainsFunc(d.Answer, func(c Column) bool { return c.Name == name && c.Kind == Number }) {
			errs = append(errs, fmt.Errorf("%s: lines names %q, which is no number of the answer of %s, or its points have no place low", place, name, p.Figure))
		}
	}
	if len(p.Band) != 0 && len(p.Band) != 3 {
		errs = append(errs, fmt.Errorf("%s: band names three policy values, the ends and the tolerance", place))
	}
	return errors.Join(errs...)
}
