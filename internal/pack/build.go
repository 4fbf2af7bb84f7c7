package pack

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/figure"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
	"thawline/internal/words"
)

// Options says what a pack speaks of.
type Options struct {
	// From and To are the first and last month, YYYY-MM.
	From, To string
	// OutDir is a folder outside the store for a copy of the pack, which the next
	// pack does not compare with; without it the pack is packs/PERIOD of the store.
	OutDir string
	// Version is the program's.
	Version string
	// Today is the report date, YYYY-MM-DD; the clock enters in no other way.
	Today string
	// Provisional says why the pack is provisional, a line a reason.
	Provisional []Reason
	// Unmatched names the feeds that have rows, but of no patient with plasma.
	Unmatched []string
	// Behind says which layers of the store are behind; the pack tells it.
	Behind audit.Behind
}

// Reason says why a pack is provisional: the key of its words, and what fills them in.
type Reason struct {
	Key string
	// Args are whole numbers (int64), other numbers (float64), and texts of the site's.
	Args []any
}

// limitDecimals is how many decimals a limit of the site has at most.
const limitDecimals = 6

// Say writes the reason.
func (r Reason) Say(format figure.Format) string {
	args := make([]any, len(r.Args))
	for i, arg := range r.Args {
		switch v := arg.(type) {
		case int64:
			args[i] = format.Whole(v)
		case float64:
			args[i] = format.Number(v, limitDecimals)
		case string:
			args[i] = figure.Isolated(v)
		}
	}
	return format.Say(r.Key, args...)
}

// Build makes the pack of a period from the store's audit layer, with what Prepare
// made ready for the site's time zone, and says where it is. It refuses where the sums do not add up, and leaves the last pack as
// it was on any error.
func Build(ctx context.Context, ready *Ready, st *store.Store, s *site.Site, p *policy.Policy, o Options) (Paths, error) {
	in, err := newInput(ctx, st, s, p, o)
	if err != nil {
		return Paths{}, err
	}
	return in.build(ctx, ready, st, o.OutDir)
}

// newInput is what the pack is made from, in the site's language.
func newInput(ctx context.Context, st *store.Store, s *site.Site, p *policy.Policy, o Options) (*input, error) {
	for _, m := range []string{o.From, o.To} {
		if _, err := time.Parse("2006-01", m); err != nil {
			return nil, fmt.Errorf("%q is no month like 2026-10", m)
		}
	}
	if o.From > o.To {
		return nil, fmt.Errorf("the period ends (%s) before it begins (%s)", o.To, o.From)
	}
	key, err := st.Key()
	if err != nil {
		return nil, err
	}
	in := &input{hospital: s.Hospital, confidentiality: s.Confidentiality, currency: s.Currency, from: o.From, to: o.To, today: o.Today, version: o.Version, behind: o.Behind, unmatched: o.Unmatched,
		policy: p, site: s, zone: s.Zone, key: key, controlledStorage: s.ControlledStorage, files: map[string][]string{}, panels: []sitePanels{{filepath.Join(s.Dir, ownPanels)}}}
	language, err := words.Load(s.Language)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", s.Path, err)
	}
	in.format = figure.Format{Comma: s.DecimalComma, DateForm: s.DateForm, Language: language}
	for _, one := range o.Provisional {
		in.provisional = append(in.provisional, one.Say(in.format))
	}
	if small, ok := p.Number("small_count"); ok {
		in.format.Small = int64(small)
	}
	for _, one := range s.Interventions {
		in.interventions = append(in.interventions, figure.Intervention{Month: month(one.Date.Format("2006-01-02")), Name: one.Name, Day: in.format.Day(one.Date)})
	}
	for _, r := range st.Readings() {
		var unmapped int64
		for _, n := range r.Unmapped {
			unmapped += n
		}
		in.sources = append(in.sources, Source{Table: r.Table, File: r.File, Date: r.Date, SHA256: r.SHA256, Read: r.Read, Accepted: r.Accepted, Rejected: r.Rejected, SetAside: r.SetAside, Unmapped: unmapped, Map: r.Map})
	}
	dashboard, _, err := panels(in.panels)
	if err != nil {
		return nil, err
	}
	names, _ := aims(dashboard)
	if in.decided, err = s.LoadDecisions(names); err != nil {
		return nil, err
	}
	if in.reviews, err = s.LoadReviews(); err != nil {
		return nil, err
	}
	in.allMarks = allMarks(st)
	in.inputs = map[string]string{}
	for _, name := range []string{site.DecisionsFile, site.ReviewsFile} {
		if text, err := os.ReadFile(filepath.Join(s.Dir, name)); err == nil {
			in.inputs[name] = sha(text)
		}
	}
	if in.judgedBy, err = judgedBy(p, o.Version); err != nil {
		return nil, err
	}
	if in.last, err = findLast(st, o.From, o.To); err != nil {
		return nil, err
	}
	for _, t := range contract.Audit() {
		in.files[t.Name] = st.LayerFiles("audit", t.Name)
	}
	for _, t := range contract.Feeds() {
		in.files[t.Name] = audit.CurrentFiles(st, t)
	}
	if in.files[contract.Labs.Name], err = shownYears(in.files[contract.Labs.Name], in.from, in.to); err != nil {
		return nil, err
	}
	if in.rules, err = audit.Rules(); err != nil {
		return nil, err
	}
	own, err := audit.LocalRules(ctx, s, p)
	if err != nil {
		return nil, err
	}
	in.rules = append(in.rules, own...)
	if len(in.files[contract.Episodes.Name]) == 0 {
		return nil, fmt.Errorf("the store holds no marks: run thawline mark first")
	}
	if len(in.files[contract.OtherMarks.Name]) == 0 {
		return nil, fmt.Errorf("the marks of the store were made by an older program, which did not judge by other values: run thawline mark, which makes them anew")
	}
	return in, nil
}

// build makes the pack of an input: in a folder outside the store, or as the store's own
// where there is none.
func (in *input) build(ctx context.Context, ready *Ready, st *store.Store, outDir string) (Paths, error) {
	e, err := ready.opened()
	if err != nil {
		return Paths{}, err
	}
	if err := in.loadStore(ctx, e); err != nil {
		return Paths{}, err
	}
	if err := in.check(ctx, e); err != nil {
		return Paths{}, err
	}
	made, err := in.pages(ctx, e, ready.drawn)
	if err != nil {
		return Paths{}, err
	}
	if outDir != "" {
		return made.write(outDir)
	}
	return in.commit(ctx, e, st, made)
}

// shownYears keeps those files of results, one a test and year, that may hold a
// row of the months shown: no figure looks at older ones.
func shownYears(files []string, from, to string) ([]string, error) {
	first, err := addMonths(to, 1-historyMonths)
	if err != nil {
		return nil, err
	}
	// A month's first hours may lie in the year before it by another clock.
	if first, err = addMonths(min(first, from), -1); err != nil {
		return nil, err
	}
	var kept []string
	for _, f := range files {
		if strings.TrimSuffix(filepath.Base(f), ".parquet") >= first[:4] {
			kept = append(kept, f)
		}
	}
	return kept, nil
}

// labFiles leaves out those files of results that are of other tests: each test has
// a folder of its own in the layer. To read them and then leave out their rows takes
// three times as long.
func labFiles(files, tests []string) []string {
	return slices.DeleteFunc(slices.Clone(files), func(path string) bool {
		folder := filepath.Base(filepath.Dir(path))
		return slices.Contains(contract.Tests, folder) && !slices.Contains(tests, folder)
	})
}

// month is the YYYY-MM of a date YYYY-MM-DD.
func month(date string) string { return date[:min(7, len(date))] }
