package site

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"thawline/internal/contract"
	"thawline/internal/words"
)

// Load reads a site file. What is wrong in it comes back as *Faults, all of it.
func Load(path string) (*Site, error) {
	l := &loader{site: &Site{Path: path}, faults: Faults{File: path}, anchors: map[string]ast.Node{}}
	data, err := l.read(path, "name the hospital's site file with --site")
	if err != nil {
		return nil, err
	}
	dir, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	l.site.Dir = dir
	l.file(data)
	if err := l.sorted(); err != nil {
		return nil, err
	}
	return l.site, nil
}

// read reads a file; where it cannot, next says what to do.
func (l *loader) read(path, next string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		// The operating system's error repeats the path.
		var reason *os.PathError
		if errors.As(err, &reason) {
			err = reason.Err
		}
		l.faults.List = append(l.faults.List, Fault{Message: "cannot be read: " + err.Error() + "; " + next})
		return nil, &l.faults
	}
	return data, nil
}

// sorted returns the faults in the order of their places, nil without one.
func (l *loader) sorted() error {
	if len(l.faults.List) == 0 {
		return nil
	}
	slices.SortStableFunc(l.faults.List, func(a, b Fault) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return &l.faults
}

// loader walks the syntax tree of a site file and gathers faults.
type loader struct {
	site    *Site
	faults  Faults
	anchors map[string]ast.Node
}

func (l *loader) fault(at *token.Position, format string, args ...any) {
	l.faults.List = append(l.faults.List, Fault{Line: at.Line, Column: at.Column, Message: fmt.Sprintf(format, args...)})
}

// at is the place of an entry's value, or of its key where it has none.
func (e entry) place() *token.Position {
	if e.value == nil || e.value.GetToken() == nil {
		return e.at
	}
	if _, null := e.value.(*ast.NullNode); null {
		return e.at
	}
	// A mapping's own token is its first colon: its first key is the better place.
	if pair, ok := e.value.(*ast.MappingValueNode); ok {
		return pair.Key.GetToken().Position
	}
	if m, ok := e.value.(*ast.MappingNode); ok && len(m.Values) > 0 {
		return m.Values[0].Key.GetToken().Position
	}
	return e.value.GetToken().Position
}

var topKeys = []string{"hospital", "time_zone", "store", "policy", "feeds", "products", "mean_normal_s", "limits", "controlled_storage", "confidentiality", "interventions", "baseline", "currency", "language", "decimal", "date_form"}

func (l *loader) file(data []byte) {
	top, ok := l.top(data, topKeys, "one hospital a file")
	if !ok {
		return
	}
	for _, name := range []string{"hospital", "time_zone", "feeds"} {
		if _, stated := top[name]; !stated {
			l.faults.List = append(l.faults.List, Fault{Line: 1, Column: 1, Message: name + ": found no such key, wanted one: every site states its hospital, time_zone and feeds"})
		}
	}
	s := l.site
	s.Hospital = l.text(top, "hospital")
	s.Confidentiality = l.text(top, "confidentiality")
	s.Currency = l.text(top, "currency")
	l.writing(top)
	s.Store = l.path(cmpOr(l.text(top, "store"), "store"))
	if p := l.text(top, "policy"); p != "" {
		s.Policy = l.path(p)
	}
	l.zone(top)
	l.products(top)
	l.meanNormal(top)
	l.limits(top)
	l.controlledStorage(top)
	l.interventions(top)
	l.baseline(top)
	l.feeds(top)
}

// top parses a file of one mapping whose keys are of known; a fault of syntax
// ends it.
func (l *loader) top(data []byte, known []string, wanted string) (map[string]entry, bool) {
	tree, err := parser.ParseBytes(data, 0)
	if err != nil {
		var syntax *yaml.SyntaxError
		if errors.As(err, &syntax) && syntax.Token != nil {
			l.fault(syntax.Token.Position, "not YAML: %s", syntax.Message)
			return nil, false
		}
		l.faults.List = append(l.faults.List, Fault{Line: 1, Column: 1, Message: "not YAML: " + err.Error()})
		return nil, false
	}
	top := map[string]entry{}
	for i, doc := range tree.Docs {
		if i > 0 && doc.Body != nil {
			l.fault(doc.Body.GetToken().Position, "found a second document, wanted %s", wanted)
			return nil, false
		}
		all, ok := l.entries(doc.Body)
		if !ok {
			l.faults.List = append(l.faults.List, Fault{Line: 1, Column: 1, Message: "found " + l.found(doc.Body) + ", wanted keys: " + strings.Join(known, ", ")})
			return nil, false
		}
		for _, e := range all {
			if !slices.Contains(known, e.key) {
				l.fault(e.at, "unknown key: %s", unknown(e.key, known))
			}
			top[e.key] = e
		}
	}
	return top, true
}

// writing takes how the pack writes words, numbers and dates.
func (l *loader) writing(top map[string]entry) {
	s := l.site
	if s.Language = l.text(top, "language"); s.Language != "" {
		if _, err := words.Load(s.Language); err != nil {
			l.fault(top["language"].place(), "%v", err)
		}
	}
	if e, stated := top["decimal"]; stated {
		switch word, _ := l.scalar(e.value); fold(word) {
		case "comma":
			s.DecimalComma = true
		case "point":
		default:
			l.fault(e.place(), "decimal: found %s, wanted point or comma", l.found(e.value))
		}
	}
	if s.DateForm = l.text(top, "date_form"); s.DateForm != "" {
		// A day that no other could be taken for: the form must tell them apart.
		day := time.Date(2034, time.November, 27, 0, 0, 0, 0, time.UTC)
		if back, err := time.Parse(s.DateForm, day.Format(s.DateForm)); err != nil || !back.Equal(day) {
			l.fault(top["date_form"].place(), "date_form: found %q, wanted a form with day, month and year, as 02.01.2006 or 2 Jan 2006 (Go's reference day)", s.DateForm)
		}
	}
}

func cmpOr(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func (l *loader) path(p string) string {
	if filepath.IsAbs(p) {
		return p
	}
	return filepath.Join(l.site.Dir, filepath.FromSlash(p))
}

// text takes a key that holds words; an absent key is empty.
func (l *loader) text(top map[string]entry, name string) string {
	e, stated := top[name]
	if !stated {
		return ""
	}
	return l.word(e, "words")
}

// word takes the scalar of an entry.
func (l *loader) word(e entry, wanted string) string {
	text, ok := l.scalar(e.value)
	if !ok || text == "" {
		l.fault(e.place(), "%s: found %s, wanted %s", e.key, l.found(e.value), wanted)
		return ""
	}
	return text
}

func (l *loader) number(e entry, low, high float64, wanted string) (float64, bool) {
	text, _ := l.scalar(e.value)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= low && v <= high) {
		l.fault(e.place(), "%s: found %s, wanted %s", e.key, l.found(e.value), wanted)
		return 0, false
	}
	return v, true
}

func (l *loader) day(e entry) (time.Time, bool) {
	text, _ := l.scalar(e.value)
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		l.fault(e.place(), "%s: found %s, wanted a day as 2025-07-01", e.key, l.found(e.value))
		return time.Time{}, false
	}
	return day, true
}

// fields gives a mapping's entries by key, each key being one of known.
func (l *loader) fields(where string, at *token.Position, node ast.Node, known []string) (map[string]entry, bool) {
	all, ok := l.entries(node)
	if !ok {
		l.fault(at, "%s: found %s, wanted {%s}", where, l.found(node), strings.Join(known, ", "))
		return nil, false
	}
	fields := map[string]entry{}
	for _, e := range all {
		if !slices.Contains(known, e.key) {
			l.fault(e.at, "%s: unknown key: %s", where, unknown(e.key, known))
			continue
		}
		fields[e.key] = e
	}
	return fields, true
}

func (l *loader) zone(top map[string]entry) {
	e, stated := top["time_zone"]
	if !stated {
		return
	}
	name := l.word(e, "an IANA name such as Europe/Dublin")
	if name == "" {
		return
	}
	zone, err := time.LoadLocation(name)
	// Local is the clock of the machine that runs the audit, which no store may depend on.
	if err != nil || name == "Local" {
		l.fault(e.place(), "time_zone: found %q, wanted an IANA name such as Europe/Dublin", name)
		return
	}
	l.site.Zone, l.site.ZoneName = zone, name
}

func (l *loader) products(top map[string]entry) {
	l.site.Products = map[string]Product{}
	e, stated := top["products"]
	if !stated {
		return
	}
	all, ok := l.entries(e.value)
	if !ok {
		l.fault(e.place(), "products: found %s, wanted lines of CODE: {component: ..., product: ..., nominal_ml: ...}", l.found(e.value))
		return
	}
	places := map[string]*token.Position{}
	for _, item := range all {
		key := fold(item.key)
		if earlier, twice := places[key]; twice {
			l.fault(item.at, "products: %s: found twice (codes are compared without case; first on line %d), wanted once", item.key, earlier.Line)
			continue
		}
		places[key] = item.at
		l.site.Products[key] = l.product(item)
	}
	for _, item := range all {
		l.becomes(item)
	}
}

func (l *loader) product(item entry) Product {
	p := Product{Code: item.key}
	fields, ok := l.fields("products: "+item.key, item.place(), item.value, []string{"component", "product", "nominal_ml", "becomes", "batch"})
	if !ok {
		return p
	}
	if c, stated := fields["component"]; stated {
		p.Component = l.codeWord(c, contract.Issues.Column("component"))
	} else {
		l.fault(item.at, "products: %s: found no component, wanted one of %s", item.key, strings.Join(contract.Issues.Column("component").Codes, ", "))
	}
	if c, stated := fields["product"]; stated {
		p.Product = l.codeWord(c, contract.Issues.Column("product"))
		if p.Component != "plasma" && p.Component != "" {
			l.fault(c.at, "products: %s: found a product for %s, wanted none: it tells kinds of plasma apart", item.key, p.Component)
		}
	} else if p.Component == "plasma" {
		l.fault(item.at, "products: %s: found plasma without product, wanted one of %s", item.key, strings.Join(contract.Issues.Column("product").Codes, ", "))
	}
	if c, stated := fields["nominal_ml"]; stated {
		p.NominalML, _ = l.number(c, 1, 5000, "mL of one bag, 1 to 5000")
	}
	if c, stated := fields["becomes"]; stated {
		p.Becomes = l.word(c, "the whole product code after thawing")
	}
	if c, stated := fields["batch"]; stated {
		switch text, _ := l.scalar(c.value); fold(text) {
		case "true", "yes":
			p.Batch = true
		case "false", "no":
		default:
			l.fault(c.place(), "batch: found %s, wanted true or false", l.found(c.value))
		}
	}
	return p
}

// codeWord takes a word of the contract.
func (l *loader) codeWord(e entry, c *contract.Column) string {
	text := l.word(e, "one of "+strings.Join(c.Codes, ", "))
	if text == "" {
		return ""
	}
	for _, code := range c.Codes {
		if fold(text) == fold(code) {
			return code
		}
	}
	l.fault(e.place(), "%s: %s", e.key, unknown(text, c.Codes))
	return ""
}

// becomes checks that a chain of codes ends, and ends within the map.
func (l *loader) becomes(item entry) {
	seen := map[string]bool{}
	for p := l.site.Products[fold(item.key)]; p.Becomes != ""; {
		if seen[fold(p.Code)] {
			l.fault(item.at, "products: %s: becomes runs in a circle, wanted a last code that becomes nothing", item.key)
			return
		}
		seen[fold(p.Code)] = true
		next, known := l.site.Products[fold(p.Becomes)]
		if !known {
			// Said once, where the unknown code is named.
			if fold(p.Code) == fold(item.key) {
				l.fault(item.at, "products: %s: becomes %s, which is in no entry of products; wanted an entry for the code after thawing too", item.key, p.Becomes)
			}
			return
		}
		p = next
	}
}

func (l *loader) meanNormal(top map[string]entry) {
	l.site.MeanNormal = map[string][]MeanNormal{}
	e, stated := top["mean_normal_s"]
	if !stated {
		return
	}
	fields, _ := l.fields("mean_normal_s", e.place(), e.value, []string{"pt_s", "aptt_s"})
	for _, test := range []string{"pt_s", "aptt_s"} {
		f, stated := fields[test]
		if !stated {
			continue
		}
		list, ok := l.items(f.value)
		if !ok || len(list) == 0 {
			l.fault(f.place(), "mean_normal_s: %s: found %s, wanted a list of {from: 2025-01-01, value: 12.1}", test, l.found(f.value))
			continue
		}
		for _, node := range list {
			l.oneMeanNormal(test, entry{test, f.at, node})
		}
	}
}

func (l *loader) oneMeanNormal(test string, item entry) {
	fields, ok := l.fields("mean_normal_s: "+test, item.place(), item.value, []string{"from", "value"})
	if !ok {
		return
	}
	from, hasFrom := fields["from"]
	value, hasValue := fields["value"]
	if !hasFrom || !hasValue {
		l.fault(item.place(), "mean_normal_s: %s: wanted both from and value", test)
		return
	}
	day, ok1 := l.day(from)
	// The same limits within which a single time is believed.
	low, high := 5.0, 300.0
	if test == "aptt_s" {
		low, high = 10, 400
	}
	seconds, ok2 := l.number(value, low, high, fmt.Sprintf("seconds, %g to %g", low, high))
	if !ok1 || !ok2 {
		return
	}
	all := l.site.MeanNormal[test]
	if len(all) > 0 && !day.After(all[len(all)-1].From) {
		l.fault(from.place(), "mean_normal_s: %s: found %s after an entry from the same day or later, wanted entries in order of date", test, day.Format(time.DateOnly))
		return
	}
	l.site.MeanNormal[test] = append(all, MeanNormal{day, seconds})
}

func (l *loader) limits(top map[string]entry) {
	e, stated := top["limits"]
	if !stated {
		return
	}
	fields, _ := l.fields("limits", e.place(), e.value, []string{"rejected_share", "undetermined_share"})
	for name, into := range map[string]**float64{"rejected_share": &l.site.Limits.RejectedShare, "undetermined_share": &l.site.Limits.UndeterminedShare} {
		if f, stated := fields[name]; stated {
			if share, ok := l.number(f, 0, 1, "a share from 0 to 1"); ok {
				*into = &share
			}
		}
	}
}

func (l *loader) controlledStorage(top map[string]entry) {
	e, stated := top["controlled_storage"]
	if !stated {
		return
	}
	list, ok := l.items(e.value)
	if !ok {
		l.fault(e.place(), "controlled_storage: found %s, wanted a list of locations", l.found(e.value))
	}
	for _, node := range list {
		if place := l.word(entry{"controlled_storage", e.at, node}, "a location"); place != "" {
			l.site.ControlledStorage = append(l.site.ControlledStorage, place)
		}
	}
}

func (l *loader) baseline(top map[string]entry) {
	e, stated := top["baseline"]
	if !stated {
		return
	}
	fields, ok := l.fields("baseline", e.place(), e.value, []string{"from", "to"})
	if !ok {
		return
	}
	from, hasFrom := fields["from"]
	to, hasTo := fields["to"]
	if !hasFrom || !hasTo {
		l.fault(e.place(), "baseline: wanted both from and to, as {from: 2025-01, to: 2025-12}")
		return
	}
	var months [2]string
	for i, one := range []entry{from, to} {
		text := l.word(one, "a month as 2025-01")
		if _, err := time.Parse("2006-01", text); err != nil {
			if text == "" {
				return // which is said already
			}
			l.fault(one.place(), "baseline: found %s, wanted a month as 2025-01", l.found(one.value))
			return
		}
		months[i] = text
	}
	if last, err := time.Parse("2006-01", months[0]); err == nil && last.AddDate(0, 7, 0).Format("2006-01") > months[1] {
		l.fault(to.place(), "baseline: found %s to %s, wanted eight months or more, in order", months[0], months[1])
		return
	}
	l.site.Baseline = Baseline{months[0], months[1]}
}

func (l *loader) interventions(top map[string]entry) {
	e, stated := top["interventions"]
	if !stated {
		return
	}
	list, ok := l.plain(e.value).(*ast.SequenceNode)
	if !ok {
		l.fault(e.place(), "interventions: found %s, wanted a list of {date: 2025-07-01, name: ...}", l.found(e.value))
		return
	}
	for _, node := range list.Values {
		item := entry{"interventions", e.at, node}
		fields, ok := l.fields("interventions", item.place(), node, []string{"date", "name"})
		if !ok {
			continue
		}
		date, hasDate := fields["date"]
		name, hasName := fields["name"]
		if !hasDate || !hasName {
			l.fault(item.place(), "interventions: wanted both date and name")
			continue
		}
		day, ok := l.day(date)
		if words := l.word(name, "words"); ok && words != "" {
			l.site.Interventions = append(l.site.Interventions, Intervention{day, words})
		}
	}
	slices.SortStableFunc(l.site.Interventions, func(a, b Intervention) int { return a.Date.Compare(b.Date) })
}
