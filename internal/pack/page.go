package pack

import (
	"context"
	"fmt"
	"html/template"

	"thawline/internal/chart"
	"thawline/internal/engine"
	"thawline/internal/figure"
)

// page is what the committee's template shows.
type page struct {
	Hospital, Period, Today, Version, Confidentiality, Cautions string
	Provisional                                                 []string
	CSS                                                         template.CSS
	Sections                                                    []section
}

type section struct {
	ID, Title, Intro, NotRun string
	Answer                   *answer
	Trust                    *trust
	Judged                   *judged
	Decisions                *decisions
	Panels                   []panel
}

// decisions is the section of what was decided, with lines for today.
type decisions struct{ Made []decided }

// figures runs, discloses and draws every panel of a dashboard.
type figures struct {
	in      *input
	e       *engine.Engine
	drawn   *chart.Renderer
	defined map[string]*figure.Definition
	// done keeps the figures by name, disclosed, for the answer.
	done    map[string]*figure.Figure
	signals []signal
	// unseen says of which charts a month of the period is hidden.
	unseen []string
	// whole keeps the figures of control charts with the months that are not drawn, and
	// limits their lines.
	whole  map[string]*figure.Figure
	limits map[string]*figure.Limits
	// early says of which control charts nothing can be said yet of the period, and why.
	early map[string]string
	ids   map[string]bool
	// drawings are at work beside the queries, by the panel's identifier.
	drawings map[string]*drawing
}

// signal is what a control chart of the period signals: the panel's figure, what is
// seen, and both in a sentence.
type signal struct{ figure, words, says string }

// when is what sentences take from the pack.
func (in *input) when() figure.When {
	return figure.When{Period: in.period(), Span: in.span(), Lacking: in.lacking}
}

// period is the period in words.
func (in *input) period() string {
	return in.periodOf(in.from, in.to)
}

func (in *input) periodOf(from, to string) string {
	if from == to {
		return in.format.Month(from)
	}
	return in.format.Range(in.format.Month(from), in.format.Month(to))
}

// confidence is the line on confidentiality.
func (in *input) confidence() string {
	if in.confidentiality == "" {
		return in.w("confidential")
	}
	return in.confidentiality
}

// reviewersFoot is that line under what is for reviewers.
func (in *input) reviewersFoot() string {
	if in.confidentiality == "" {
		return in.w("reviewers_foot")
	}
	return in.confidentiality + " · " + in.w("reviewers_foot")
}

// span is what distributions speak of: the year to the period's end, of it the months
// since the records began, or the period where that is longer.
func (in *input) span() string {
	switch from := max(in.yearFrom(), min(in.recordsFrom, in.from)); {
	case from == in.from:
		return in.period()
	case from > in.yearFrom():
		return in.periodOf(from, in.to)
	}
	return in.w("span_year", in.format.Month(in.to))
}

// yearFrom is the first month of the span.
func (in *input) yearFrom() string {
	from, err := addMonths(in.to, -11)
	if err != nil {
		return in.from
	}
	return min(from, in.from)
}

// committee builds the page's content but for the drawings, which go on: all
// panels first, since the first section is made from the figures of the others.
func (in *input) committee(ctx context.Context, e *engine.Engine, d *figure.Dashboard, defined map[string]*figure.Definition, all []*figure.Figure, drawn *chart.Renderer, css string) (*page, *figures, error) {
	fs := &figures{in: in, e: e, drawn: drawn, defined: defined, done: map[string]*figure.Figure{}, ids: map[string]bool{}, drawings: map[string]*drawing{},
		whole: map[string]*figure.Figure{}, limits: map[string]*figure.Limits{}, early: map[string]string{}}
	p := &page{Hospital: in.hospital, Period: in.period(), Today: in.reportDate(), Version: in.version, Confidentiality: in.confidence(),
		Cautions: in.w("cautions"), Provisional: in.provisional, CSS: template.CSS(css)}
	run, err := in.disclosed(ctx, e, d, all)
	if err != nil {
		return nil, nil, err
	}
	for i, s := range d.Sections {
		one := section{ID: fmt.Sprintf("s%d", i+1), Title: s.Section, Intro: in.when().Intro(s.Intro), NotRun: s.NotRun}
		for j, wanted := range s.Panels {
			if wanted.Chart == "before_after" && len(in.interventions) == 0 {
				continue
			}
			one.Panels = append(one.Panels, fs.panel(wanted, run[i][j]))
		}
		p.Sections = append(p.Sections, one)
	}
	for i, s := range d.Sections {
		one := &p.Sections[i]
		switch s.Page {
		case "answer":
			one.Answer = fs.answer()
		case "trust":
			one.Trust = in.trust()
		case "decisions":
			one.Decisions = &decisions{fs.decisions(d)}
		case "judged":
			if one.Judged, err = in.judged(); err != nil {
				return nil, nil, err
			}
		}
	}
	return p, fs, nil
}
