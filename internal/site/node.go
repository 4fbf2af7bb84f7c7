package site

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// Fault is one thing wrong in a site file.
type Fault struct {
	// Line and Column are 1-based; 0 where the fault has no place.
	Line, Column int
	// Message names the key, what was found and what was wanted.
	Message string
}

// Faults is everything wrong in one site file, in order of place.
type Faults struct {
	// File is the path as given to Load.
	File string
	List []Fault
}

// Error prints one fault a line, place first.
func (f *Faults) Error() string {
	lines := make([]string, len(f.List))
	for i, fault := range f.List {
		if lines[i] = f.File; fault.Line > 0 {
			lines[i] += fmt.Sprintf(":%d:%d", fault.Line, fault.Column)
		}
		lines[i] += ": " + fault.Message
	}
	return strings.Join(lines, "\n")
}

// fold brings a code to the form in which codes are compared.
func fold(code string) string { return strings.ToLower(strings.TrimSpace(code)) }

// entry is one key of a mapping with its value.
type entry struct {
	key   string
	at    *token.Position
	value ast.Node
}

// entries gives a mapping's keys and values; the parser gives a mapping of one
// key as the pair itself.
func (l *loader) entries(node ast.Node) ([]entry, bool) {
	var pairs []*ast.MappingValueNode
	switch n := l.plain(node).(type) {
	case *ast.MappingNode:
		pairs = n.Values
	case *ast.MappingValueNode:
		pairs = []*ast.MappingValueNode{n}
	default:
		return nil, false
	}
	all := make([]entry, len(pairs))
	for i, p := range pairs {
		at := p.Key.GetToken()
		all[i] = entry{strings.TrimSpace(at.Value), at.Position, p.Value}
	}
	return all, true
}

// plain follows anchors and aliases, by which two feeds may share a map.
func (l *loader) plain(node ast.Node) ast.Node {
	for range 8 {
		switch n := node.(type) {
		case *ast.AnchorNode:
			l.anchors[n.Name.GetToken().Value] = n.Value
			node = n.Value
		case *ast.AliasNode:
			node = l.anchors[n.Value.GetToken().Value]
		default:
			return node
		}
	}
	return node
}

// items gives a list's items; a scalar is a list of one.
func (l *loader) items(node ast.Node) ([]ast.Node, bool) {
	switch n := l.plain(node).(type) {
	case *ast.SequenceNode:
		return n.Values, true
	case nil:
		return nil, false
	default:
		if _, ok := l.scalar(n); ok {
			return []ast.Node{n}, true
		}
	}
	return nil, false
}

// scalar gives a scalar as it is written, quotes and outer spaces aside.
func (l *loader) scalar(node ast.Node) (string, bool) {
	node = l.plain(node)
	if node == nil {
		return "", false
	}
	if literal, ok := node.(*ast.LiteralNode); ok {
		return strings.TrimSpace(literal.Value.Value), true
	}
	if _, ok := node.(ast.ScalarNode); !ok {
		return "", false
	}
	if _, null := node.(*ast.NullNode); null {
		return "", false
	}
	if text, ok := node.(*ast.StringNode); ok {
		return strings.TrimSpace(text.Value), true
	}
	return strings.TrimSpace(node.GetToken().Value), true
}

// found names a node in a message.
func (l *loader) found(node ast.Node) string {
	switch n := l.plain(node).(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a mapping"
	case *ast.SequenceNode:
		return "a list"
	case nil, *ast.NullNode:
		return "nothing"
	default:
		return fmt.Sprintf("%q", n.GetToken().Value)
	}
}

// unknown says that a name is not known, and which one may be meant.
func unknown(name string, known []string) string {
	best, least := "", max(2, len(name)/3)+1
	for _, k := range known {
		if d := distance(fold(name), fold(k)); d < least {
			best, least = k, d
		}
	}
	// A longer or shorter word for the same thing is many edits away, but begins alike.
	if alike := 5; best == "" {
		for _, k := range known {
			if n := prefix(name, k); n >= alike {
				best, alike = k, n+1
			}
		}
	}
	wanted := "one of " + strings.Join(known, ", ")
	if best != "" {
		return fmt.Sprintf("found %q; did you mean %s? Wanted %s", name, best, wanted)
	}
	return fmt.Sprintf("found %q, wanted %s", name, wanted)
}

// prefix counts the characters with which two words begin alike.
func prefix(a, b string) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
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
