package engine

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
)

// tableFunctions are the only functions that a person's query may use in FROM:
// none of them opens a file.
var tableFunctions = map[string]bool{"unnest": true, "range": true, "generate_series": true}

// Select runs one SELECT of a person's over the tables and views that exist. It
// refuses anything else: other statements, files, settings.
func (e *Engine) Select(ctx context.Context, what, query string) ([]string, [][]any, error) {
	if err := e.onlySelect(ctx, what, query); err != nil {
		return nil, nil, err
	}
	return e.Rows(ctx, what, query)
}

func (e *Engine) onlySelect(ctx context.Context, what, query string) error {
	_, rows, err := e.Rows(ctx, what, "SELECT json_serialize_sql(CAST(? AS VARCHAR))::VARCHAR", query)
	if err != nil {
		return err
	}
	var tree struct {
		Error      bool   `json:"error"`
		Message    string `json:"error_message"`
		Position   string `json:"position"`
		Statements []any  `json:"statements"`
	}
	if err := json.Unmarshal([]byte(rows[0][0].(string)), &tree); err != nil {
		return fmt.Errorf("%s: read the engine's parse: %w", what, err)
	}
	if tree.Error {
		found := &Error{What: what, Message: tree.Message}
		var at int
		if _, err := fmt.Sscan(tree.Position, &at); err == nil && at <= len(query) {
			found.Line = 1 + strings.Count(query[:at], "\n")
		}
		return found
	}
	if len(tree.Statements) != 1 {
		return &Error{What: what, Message: fmt.Sprintf("%d statements, wanted one SELECT", len(tree.Statements))}
	}
	known, err := e.tables(ctx)
	if err != nil {
		return err
	}
	return lint(what, tree.Statements[0], known)
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

// lint walks a parsed SELECT and refuses what could reach a file: the engine
// takes a file's name for a table, and has functions that read files.
func lint(what string, node any, known map[string]bool) error {
	names := map[string]bool{}
	collectCTEs(node, names)
	var walk func(node any) error
	walk = func(node any) error {
		switch n := node.(type) {
		case map[string]any:
			if n["type"] == "BASE_TABLE" {
				name, _ := n["table_name"].(string)
				if low := strings.ToLower(name); !known[low] && !names[low] {
					return &Error{What: what, Message: fmt.Sprintf("table %q is not in the store; thawline describe lists the tables", name)}
				}
			}
			if n["type"] == "TABLE_FUNCTION" {
				function, _ := n["function"].(map[string]any)
				name, _ := function["function_name"].(string)
				if !tableFunctions[strings.ToLower(name)] {
					return &Error{What: what, Message: fmt.Sprintf("%s(…) is not allowed in FROM: a query reads the store's tables alone", name)}
				}
			}
			for _, child := range n {
				if err := walk(child); err != nil {
					return err
				}
			}
		case []any:
			for _, child := range n {
				if err := walk(child); err != nil {
					return err
				}
			}
		}
		return nil
	}
	return walk(node)
}

// collectCTEs finds the names that a query gives to parts of itself.
func collectCTEs(node any, names map[string]bool) {
	switch n := node.(type) {
	case map[string]any:
		if ctes, ok := n["cte_map"].(map[string]any); ok {
			entries, _ := ctes["map"].([]any)
			for _, entry := range entries {
				if pair, ok := entry.(map[string]any); ok {
					if key, ok := pair["key"].(string); ok {
						names[strings.ToLower(key)] = true
					}
				}
			}
		}
		for _, child := range n {
			collectCTEs(child, names)
		}
	case []any:
		for _, child := range n {
			collectCTEs(child, names)
		}
	}
}
