package policy

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Fault is one thing wrong in a policy file or a decision table.
type Fault struct {
	// Line and Column are 1-based; Column is 0 where only the line is known.
	Line, Column int
	// Message says what was found, what was wanted and what to do.
	Message string
}

// Faults is everything wrong in one file, in order of place.
type Faults struct {
	// File is the path as given.
	File string
	List []Fault
}

// Error prints one fault a line, place first.
func (f *Faults) Error() string {
	lines := make([]string, len(f.List))
	for i, fault := range f.List {
		place := fmt.Sprintf("%s:%d", f.File, fault.Line)
		if fault.Column > 0 {
			place += fmt.Sprintf(":%d", fault.Column)
		}
		lines[i] = place + ": " + fault.Message
	}
	return strings.Join(lines, "\n")
}

// Load reads a site's policy file over the defaults; an empty path gives the
// defaults alone. What is wrong in the file comes back as *Faults, all of it.
func Load(path string) (*Policy, error) {
	if path == "" {
		return Default(), nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("policy file: %w", err)
	}
	p := Default()
	l := &loader{policy: p, places: map[string]*token.Position{}, faults: Faults{File: path}}
	l.file(data, filepath.Dir(path))
	if len(l.faults.List) > 0 {
		slices.SortStableFunc(l.faults.List, func(a, b Fault) int {
			if a.Line != b.Line {
				return a.Line - b.Line
			}
			return a.Column - b.Column
		})
		return nil, &l.faults
	}
	return p, nil
}

// loader walks the syntax tree of a policy file and gathers faults.
type loader struct {
	policy *Policy
	places map[string]*token.Position // by column, where the site states it
	faults Faults
}

func (l *loader) fault(node ast.Node, format string, args ...any) {
	l.faultAt(node.GetToken().Position, format, args...)
}

func (l *loader) faultAt(at *token.Position, format string, args ...any) {
	l.faults.List = append(l.faults.List, Fault{Line: at.Line, Column: at.Column, Message: fmt.Sprintf(format, args...)})
}

func (l *loader) file(data []byte, dir string) {
	tree, err := parser.ParseBytes(data, 0)
	if err != nil {
		var syntax *yaml.SyntaxError
		if errors.As(err, &syntax) && syntax.Token != nil {
			l.faultAt(syntax.Token.Position, "not YAML: %s", syntax.Message)
			return
		}
		l.faults.List = append(l.faults.List, Fault{Line: 1, Column: 1, Message: "not YAML: " + err.Error()})
		return
	}
	for i, doc := range tree.Docs {
		if doc.Body == nil {
			continue
		}
		if i > 0 {
			l.fault(doc.Body, "found a second document, wanted one file of values")
			return
		}
		if _, empty := doc.Body.(*ast.CommentGroupNode); empty {
			continue
		}
		if _, empty := doc.Body.(*ast.NullNode); empty {
			continue
		}
		entries, ok := pairs(doc.Body)
		if !ok {
			l.fault(doc.Body, "found %s, wanted lines of name: value", kindOf(doc.Body))
			return
		}
		for _, entry := range entries {
			l.entry(entry, dir)
		}
	}
	if len(l.faults.List) == 0 {
		if culprit, err := l.policy.together(); err != nil {
			l.faultAt(l.places[culprit], "%v", err)
		}
	}
}

func (l *loader) entry(entry *ast.MappingValueNode, dir string) {
	name := keyOf(entry)
	if name == "decision_table" {
		path, ok := entry.Value.(*ast.StringNode)
		if !ok || path.Value == "" {
			l.fault(entry.Value, "decision_table: found %s, wanted the path of a CSV file", kindOf(entry.Value))
			return
		}
		l.policy.TablePath = path.Value
		if !filepath.IsAbs(path.Value) {
			l.policy.TablePath = filepath.Join(dir, path.Value)
		}
		return
	}
	d := byName[name]
	if d == nil {
		if whole := byColumn[name]; whole != nil {
			l.fault(entry.Key, "%s: unknown name; it is a part of %s, write %s: {%s: ...}", name, whole.name, whole.name, strings.TrimPrefix(name, whole.name+"_"))
			return
		}
		names := []string{"decision_table"}
		for _, d := range definitions {
			names = append(names, d.name)
		}
		l.fault(entry.Key, "%s", unknown(name, names))
		return
	}
	// A list is a list of dated entries, except where the value itself is one.
	list, isList := entry.Value.(*ast.SequenceNode)
	if !isList || d.Kind == table || d.Kind == words && !allMappings(list) {
		l.stated(d, entry.Value, nil)
		return
	}
	if len(list.Values) == 0 {
		l.fault(entry.Value, "%s: found an empty list, wanted entries with a value", name)
	}
	var last *time.Time
	for _, item := range list.Values {
		if _, ok := pairs(item); !ok {
			l.fault(item, "%s: found %s, wanted {from: 2025-07-01, value: ...}", name, kindOf(item))
			continue
		}
		from := l.stated(d, item, last)
		last = &from
	}
}

// stated takes one statement of a value, short or with its fields, and gives
// the date from which it holds. last is the date of the statement before.
func (l *loader) stated(d *definition, node ast.Node, last *time.Time) time.Time {
	var c change
	value := node
	fields, isMap := pairs(node)
	if isMap && slices.ContainsFunc(fields, func(f *ast.MappingValueNode) bool { return !d.hasPart(keyOf(f)) }) {
		value = nil
		for _, field := range fields {
			if v := l.field(d, field, &c); v != nil {
				value = v
			}
		}
		if value == nil {
			l.fault(node, "%s: found no value, wanted value: %s", d.name, d.wanted())
			return c.from
		}
	}
	if last != nil && !c.from.After(*last) {
		found := "no from"
		if !c.from.IsZero() {
			found = "from " + c.from.Format(time.DateOnly)
		}
		l.fault(node, "%s: found %s after an entry that holds from the same day or later; put entries in order of date, each with its own", d.name, found)
		return *last
	}
	l.value(d, value, c)
	return c.from
}

// field reads one field of an entry into c; the value's node comes back.
func (l *loader) field(d *definition, field *ast.MappingValueNode, c *change) ast.Node {
	key := keyOf(field)
	switch key {
	case "value":
		return field.Value
	case "from":
		from, err := time.Parse(time.DateOnly, scalar(field.Value))
		switch {
		case err != nil:
			l.fault(field.Value, "%s: from: found %q, wanted a day as 2025-07-01", d.name, scalar(field.Value))
		case !d.Judges:
			l.fault(field.Key, "%s: found a date, but this value holds for the whole store; state it without from", d.name)
		default:
			c.from = from
		}
	case "source":
		if c.source = scalar(field.Value); c.source == "" {
			l.fault(field.Value, "%s: source: found nothing, wanted where the value comes from", d.name)
		}
	case "others":
		// A site may note what else it considered; the pack prints the published ones.
	case "unit":
		if found := scalar(field.Value); found != d.Unit {
			wanted := "wanted " + d.Unit + "; convert the value"
			if d.Unit == "" {
				wanted = "but this value has none; leave unit out"
			}
			l.fault(field.Value, "%s: unit: found %q, %s", d.name, found, wanted)
		}
	case "approved":
		c.approved, c.approvedOn = l.approved(d, field)
	default:
		if len(d.parts) > 0 && d.hasPart(key) {
			l.fault(field.Key, "%s: %s stands beside other fields; write value: {%s: ...}", d.name, key, key)
			break
		}
		known := append([]string{"value", "unit", "source", "others", "approved", "from"}, d.parts...)
		l.fault(field.Key, "%s: %s", d.name, unknown(key, known))
	}
	return nil
}

func (l *loader) approved(d *definition, field *ast.MappingValueNode) (by string, on time.Time) {
	parts, ok := pairs(field.Value)
	if !ok {
		l.fault(field.Value, "%s: approved: found %s, wanted {by: ..., on: 2025-06-12}", d.name, kindOf(field.Value))
		return "", on
	}
	day := ""
	for _, part := range parts {
		switch key := keyOf(part); key {
		case "by":
			by = scalar(part.Value)
		case "on":
			day = scalar(part.Value)
			var err error
			if on, err = time.Parse(time.DateOnly, day); err != nil {
				l.fault(part.Value, "%s: approved: on: found %q, wanted a day as 2025-06-12", d.name, day)
			}
		default:
			l.fault(part.Key, "%s: approved: %s", d.name, unknown(key, []string{"by", "on"}))
		}
	}
	if by == "" || day == "" {
		l.fault(field.Value, "%s: approved: wanted both by and on", d.name)
	}
	return by, on
}

// value checks and keeps a value: a scalar, the parts of a composite, a list
// of words or the weight bounds.
func (l *loader) value(d *definition, node ast.Node, c change) {
	switch {
	case d.Kind == table:
		l.weights(d, node, c)
		return
	case len(d.parts) > 0:
		parts, ok := pairs(node)
		if !ok {
			l.fault(node, "%s: found %s, wanted a value for one or more of {%s}", d.name, kindOf(node), strings.Join(d.parts, ", "))
			return
		}
		for _, part := range parts {
			if !d.hasPart(keyOf(part)) {
				l.fault(part.Key, "%s: %s", d.name, unknown(keyOf(part), d.parts))
				continue
			}
			l.keep(d, d.column(keyOf(part)), part.Value, c)
		}
		return
	case d.Kind == words:
		if list, ok := node.(*ast.SequenceNode); ok {
			var found []string
			for _, item := range list.Values {
				found = append(found, scalar(item))
			}
			kept, err := d.wordList(found)
			if err != nil {
				l.fault(node, "%s: %v", d.name, err)
				return
			}
			l.add(d.name, node, kept, c)
			return
		}
	}
	l.keep(d, d.name, node, c)
}

func (l *loader) keep(d *definition, column string, node ast.Node, c change) {
	var found any
	switch n := node.(type) {
	case *ast.IntegerNode:
		found = plain(n.Value)
	case *ast.FloatNode:
		found = n.Value
	case *ast.BoolNode:
		found = n.Value
	case *ast.StringNode:
		found = plain(n.Value)
		// A quoted number is text: written so by mistake more often than not.
		if d.Kind == number && found != nil {
			l.fault(node, "%s: found %q, wanted %s", d.name, n.Value, d.wanted())
			return
		}
	default:
		l.fault(node, "%s: found %s, wanted %s", d.name, kindOf(node), d.wanted())
		return
	}
	kept, err := d.check(found)
	if err != nil {
		l.fault(node, "%s: %v", d.name, err)
		return
	}
	l.add(column, node, kept, c)
}

func (l *loader) add(column string, node ast.Node, kept any, c change) {
	c.value = kept
	l.policy.changes[column] = append(l.policy.changes[column], c)
	l.places[column] = node.GetToken().Position
}

func (l *loader) weights(d *definition, node ast.Node, c change) {
	var rows []AgeWeight
	list, ok := node.(*ast.SequenceNode)
	if !ok {
		l.fault(node, "%s: found %s, wanted %s", d.name, kindOf(node), d.wanted())
		return
	}
	for _, item := range list.Values {
		var row AgeWeight
		if err := yaml.NodeToValue(item, &row, yaml.Strict()); err != nil {
			l.fault(item, "%s: found another shape, wanted {under_days or under_years, low_kg, high_kg}", d.name)
			return
		}
		rows = append(rows, row)
	}
	if err := checkWeights(rows, d); err != nil {
		l.fault(node, "%s: %v", d.name, err)
		return
	}
	l.policy.weights, l.policy.weightsSource, l.policy.weightsSite = rows, c.source, true
}

// pairs gives the entries of a mapping; the parser gives a mapping of one
// entry as the entry itself.
func pairs(node ast.Node) ([]*ast.MappingValueNode, bool) {
	switch n := node.(type) {
	case *ast.MappingNode:
		return n.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{n}, true
	}
	return nil, false
}

func allMappings(list *ast.SequenceNode) bool {
	for _, item := range list.Values {
		if _, ok := pairs(item); !ok {
			return false
		}
	}
	return len(list.Values) > 0
}

func keyOf(entry *ast.MappingValueNode) string { return entry.Key.GetToken().Value }

// scalar gives a scalar as it is written, quotes aside; empty for the rest.
func scalar(node ast.Node) string {
	if _, ok := node.(ast.ScalarNode); !ok {
		return ""
	}
	if _, null := node.(*ast.NullNode); null {
		return ""
	}
	return strings.TrimSpace(node.GetToken().Value)
}

func kindOf(node ast.Node) string {
	switch n := node.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	case *ast.NullNode:
		return "nothing"
	default:
		return fmt.Sprintf("%q", n.GetToken().Value)
	}
}

// unknown says that a name is not known and which one may be meant.
func unknown(name string, known []string) string {
	best, least := "", 3 // more than two edits away is another word
	for _, k := range known {
		if d := distance(name, k); d < least && d < len(k) {
			best, least = k, d
		}
	}
	if best != "" {
		return fmt.Sprintf("%s: unknown name; did you mean %s?", name, best)
	}
	if len(known) > 12 {
		return fmt.Sprintf("%s: unknown name; the defaults list every name", name)
	}
	return fmt.Sprintf("%s: unknown name; wanted one of %s", name, strings.Join(known, ", "))
}

// distance counts the single-character edits between two words (Levenshtein 1966).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
