package engine

import (
	"context"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// tableFunctions are the only functions that a person's query may use in FROM:
// none of them opens a file.
var tableFunctions = map[string]bool{"unnest": true, "range": true, "generate_series": true}

// partName is the form of a name that a query gives to a part of itself. The
// engine takes a table's name with a point or a stroke for a file.
var partName = regexp.MustCompile(`^[\p{L}_][\p{L}\p{N}_ ]*$`)

// Select runs one SELECT of a person's over the tables and views that exist. It
// refuses anything else: other statements, files, settings.
func (e *Engine) Select(ctx context.Context, what, query string) ([]string, [][]any, error) {
	parsed, err := e.Parse(ctx, what, query)
	if err != nil {
		return nil, nil, err
	}
	known, err := e.tables(ctx)
	if err != nil {
		return nil, nil, err
	}
	for _, ref := range parsed.Tables {
		if !known[strings.ToLower(ref.Name)] {
			return nil, nil, &Error{What: what, Line: ref.Line, Message: fmt.Sprintf("table %q is not in the store; thawline describe lists the tables", ref.Name)}
		}
	}
	return e.Rows(ctx, what, query)
}

// Ref is a name that a query uses, and the line on which it does; 0 where the
// engine does not say.
type Ref struct {
	Name string
	Line int
}

// Parsed is one SELECT of a person's, as far as it may be trusted: it reads no
// file, and names what it uses.
type Parsed struct {
	// Tables are the tables read, each time one is; parts of the query itself,
	// and functions in FROM, are not among them.
	Tables []Ref
	// Functions are the functions called, in lower case, and the words that
	// stand for one (current_date).
	Functions []Ref
	// Sampled says that it draws rows at random.
	Sampled bool
	// words are all names and texts in it, in lower case; all says that it asks
	// for columns without naming them.
	words map[string]bool
	all   bool
}

// Uses says whether a query may read the column: it names it, or asks for
// columns without naming them.
func (p *Parsed) Uses(column string) bool { return p.all || p.words[strings.ToLower(column)] }

// Parse reads one SELECT and refuses any other statement, several statements,
// tables named with a schema or a file, and functions that open files.
func (e *Engine) Parse(ctx context.Context, what, query string) (*Parsed, error) {
	_, rows, err := e.Rows(ctx, what, "SELECT json_serialize_sql(CAST(? AS VARCHAR))::VARCHAR", query)
	if err != nil {
		return nil, err
	}
	var tree struct {
		Error      bool   `json:"error"`
		Message    string `json:"error_message"`
		Position   string `json:"position"`
		Statements []any  `json:"statements"`
	}
	if err := json.Unmarshal([]byte(rows[0][0].(string)), &tree); err != nil {
		return nil, fmt.Errorf("%s: read the engine's parse: %w", what, err)
	}
	r := &reader{what: what, query: query, parsed: &Parsed{words: map[string]bool{}}, parts: map[string]bool{}}
	if tree.Error {
		found := &Error{What: what, Message: tree.Message}
		if strings.Contains(tree.Message, "Only SELECT statements can be serialized") {
			found.Message = "found another statement, wanted one SELECT: the store is read here, never changed"
		}
		var at int
		if _, err := fmt.Sscan(tree.Position, &at); err == nil {
			found.Line = r.lineOf(float64(at))
		}
		return nil, found
	}
	if len(tree.Statements) != 1 {
		return nil, &Error{What: what, Message: fmt.Sprintf("%d statements, wanted one SELECT", len(tree.Statements))}
	}
	if err := r.collectParts(tree.Statements[0]); err != nil {
		return nil, err
	}
	return r.parsed, r.walk(tree.Statements[0])
}

// tables lists the names that a query may read.
func (e *Engine) tables(ctx context.Context) (map[string]bool, error) {
	_, rows, err := e.Rows(ctx, "table names", "SELECT table_name FROM information_schema.tables")
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	for _, row := range rows {
		known[strings.ToLower(row[0].(string))] = true
	}
	return known, nil
}

// reader walks the engine's parse of a query.
type reader struct {
	what, query string
	parsed      *Parsed
	// parts are the names that the query gives to parts of itself.
	parts map[string]bool
}

func (r *reader) refuse(node map[string]any, format string, args ...any) error {
	at, _ := node["query_location"].(float64)
	return &Error{What: r.what, Line: r.lineOf(at), Message: fmt.Sprintf(format, args...)}
}

// lineOf is the line of a place in the text; 0 where there is none.
func (r *reader) lineOf(at float64) int {
	if at < 0 || at > float64(len(r.query)) {
		return 0
	}
	return 1 + strings.Count(r.query[:int(at)], "\n")
}

// valueWords stand for a function where no column has their name.
var valueWords = []string{"current_catalog", "current_date", "current_role", "current_schema", "current_time", "current_timestamp", "current_user",
	"localtime", "localtimestamp", "session_user", "user"}

func (r *reader) walk(node any) error {
	switch n := node.(type) {
	case string:
		r.parsed.words[strings.ToLower(n)] = true
	case map[string]any:
		if err := r.look(n); err != nil {
			return err
		}
		for _, name := range sortedKeys(n) {
			if err := r.walk(n[name]); err != nil {
				return err
			}
		}
	case []any:
		for _, child := range n {
			if err := r.walk(child); err != nil {
				return err
			}
		}
	}
	return nil
}

// look judges one node.
func (r *reader) look(n map[string]any) error {
	text := func(name string) string { s, _ := n[name].(string); return s }
	at, _ := n["query_location"].(float64)
	line := r.lineOf(at)
	if n["sample"] != nil {
		r.parsed.Sampled = true
	}
	switch n["type"] {
	case "BASE_TABLE":
		name, schema := text("table_name"), text("schema_name")
		if schema != "" || text("catalog_name") != "" {
			return r.refuse(n, "table %q is named with a schema: a query reads the store's tables alone, each by its bare name", schema+"."+name)
		}
		if !r.parts[strings.ToLower(name)] {
			r.parsed.Tables = append(r.parsed.Tables, Ref{name, line})
		}
	case "TABLE_FUNCTION":
		function, _ := n["function"].(map[string]any)
		if name, _ := function["function_name"].(string); !tableFunctions[strings.ToLower(name)] {
			return r.refuse(n, "%s(…) is not allowed in FROM: a query reads the store's tables alone", name)
		}
	case "FUNCTION":
		r.parsed.Functions = append(r.parsed.Functions, Ref{strings.ToLower(text("function_name")), line})
	case "COLUMN_REF":
		if names, _ := n["column_names"].([]any); len(names) == 1 {
			if name, _ := names[0].(string); slices.Contains(valueWords, strings.ToLower(name)) {
				r.parsed.Functions = append(r.parsed.Functions, Ref{strings.ToLower(name), line})
			}
		}
	case "STAR":
		r.parsed.all = true
	case "JOIN":
		// A natural join is by the columns that both sides have.
		r.parsed.all = r.parsed.all || n["ref_type"] == "NATURAL"
	}
	return nil
}

// collectParts finds the names that a query gives to parts of itself.
func (r *reader) collectParts(node any) error {
	switch n := node.(type) {
	case map[string]any:
		if ctes, ok := n["cte_map"].(map[string]any); ok {
			entries, _ := ctes["map"].([]any)
			for _, entry := range entries {
				pair, _ := entry.(map[string]any)
				name, _ := pair["key"].(string)
				if !partName.MatchString(name) {
					return &Error{What: r.what, Message: fmt.Sprintf("a part of the query is named %q, wanted letters, digits and underscores", name)}
				}
				r.parts[strings.ToLower(name)] = true
			}
		}
		for _, child := range n {
			if err := r.collectParts(child); err != nil {
				return err
			}
		}
	case []any:
		for _, child := range n {
			if err := r.collectParts(child); err != nil {
				return err
			}
		}
	}
	return nil
}

func sortedKeys(m map[string]any) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
