// Package audit turns the store's records into episodes and marks: it runs the
// queries of package queries in the order in which the data flows, checks that
// the sums agree, and writes the layers current and audit.
package audit

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"sort"
	"strings"

	"thawline/internal/engine"
)

// Query is one SQL file: a header that says what it makes, and one SELECT.
type Query struct {
	// Name is the file's name without .sql, and the table that the query makes.
	Name string
	// Path is the file's path, as errors show it.
	Path string
	// Says is the header's first sentence.
	Says string
	// Header holds the header's other lines by key: reads, of, needs, fires,
	// not known, severity, source.
	Header map[string]string
	// SQL is the whole text, so that the engine's line numbers are the file's.
	SQL string
	// parsed is what the SELECT names; of a site's own rule alone.
	parsed *engine.Parsed
}

// Local says that it is a site's own rule.
func (q *Query) Local() bool { return q.parsed != nil }

// Reads lists the tables that the query declares to read.
func (q *Query) Reads() []string { return q.List("reads") }

// List splits a header line at its commas and semicolons.
func (q *Query) List(key string) []string {
	var list []string
	for _, part := range strings.FieldsFunc(q.Header[key], func(r rune) bool { return r == ',' || r == ';' }) {
		if part = strings.TrimSpace(part); part != "" {
			list = append(list, part)
		}
	}
	return list
}

// headerKeys are the words that may open a header line.
var headerKeys = []string{"reads", "of", "needs", "fires", "not known", "severity", "source"}

// ParseQuery reads a query's header strictly: a first line "-- name: sentence."
// and lines "-- key: text", each of which may go on over indented lines.
func ParseQuery(file string, text string) (*Query, error) {
	q := &Query{Name: strings.TrimSuffix(path.Base(file), ".sql"), Path: file, Header: map[string]string{}, SQL: text}
	key := ""
	for number, line := range strings.Split(text, "\n") {
		if !strings.HasPrefix(line, "--") {
			break
		}
		line = strings.TrimPrefix(line, "--")
		word, rest, found := strings.Cut(line, ":")
		switch trimmed := strings.TrimSpace(word); {
		case number == 0:
			if !found || trimmed != q.Name {
				return nil, fmt.Errorf("%s:1: the first line is %q, wanted \"-- %s: one sentence.\"", file, "--"+line, q.Name)
			}
			q.Says, key = strings.TrimSpace(rest), "says"
		case strings.TrimSpace(line) == "":
			key = ""
		case found && slices.Contains(headerKeys, trimmed):
			if _, twice := q.Header[trimmed]; twice {
				return nil, fmt.Errorf("%s:%d: header line %q stands twice", file, number+1, trimmed)
			}
			key = trimmed
			q.Header[key] = strings.TrimSpace(rest)
		case key == "says":
			q.Says += " " + strings.TrimSpace(line)
		case key != "":
			q.Header[key] += " " + strings.TrimSpace(line)
		}
	}
	if q.Says == "" {
		return nil, fmt.Errorf("%s:1: no header, wanted \"-- %s: one sentence.\"", file, q.Name)
	}
	if _, ok := q.Header["reads"]; !ok {
		return nil, fmt.Errorf("%s: the header has no line \"-- reads: table, table\"", file)
	}
	return q, nil
}

// LoadQueries reads the queries of a folder and its subfolders, sorted by path.
func LoadQueries(fsys fs.FS, dir string) ([]*Query, error) {
	var all []*Query
	err := fs.WalkDir(fsys, dir, func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || path.Ext(file) != ".sql" {
			return err
		}
		text, err := fs.ReadFile(fsys, file)
		if err != nil {
			return err
		}
		q, err := ParseQuery("queries/"+file, string(text))
		if err != nil {
			return err
		}
		all = append(all, q)
		return nil
	})
	return all, err
}

// Order sorts queries so that each comes after those whose tables it reads;
// among those that are free to run, by path. A circle is an error.
func Order(all []*Query) ([]*Query, error) {
	byName := map[string]*Query{}
	for _, q := range all {
		if other, twice := byName[q.Name]; twice {
			return nil, fmt.Errorf("%s and %s make the same table", other.Path, q.Path)
		}
		byName[q.Name] = q
	}
	sorted := slices.Clone(all)
	sort.Slice(sorted, func(i, j int) bool { return sorted[i].Path < sorted[j].Path })
	var ordered []*Query
	state := map[string]int{} // 1 being visited, 2 done
	var visit func(q *Query) error
	visit = func(q *Query) error {
		switch state[q.Name] {
		case 1:
			return fmt.Errorf("%s: its reads come back to itself", q.Path)
		case 2:
			return nil
		}
		state[q.Name] = 1
		for _, name := range q.Reads() {
			if before := byName[name]; before != nil {
				if err := visit(before); err != nil {
					return err
				}
			}
		}
		state[q.Name] = 2
		ordered = append(ordered, q)
		return nil
	}
	for _, q := range sorted {
		if err := visit(q); err != nil {
			return nil, err
		}
	}
	return ordered, nil
}

// Run makes one table a query, in the given order; a view where views names the
// query: a table that is read once, or of which only some columns are read,
// would be a costly copy.
func Run(ctx context.Context, e *engine.Engine, ordered []*Query, views ...string) error {
	for _, q := range ordered {
		// The header's first line, a comment, gives way to the statement's
		// opening, so that the line which the engine names is the file's own.
		_, body, _ := strings.Cut(q.SQL, "\n")
		body = strings.TrimSuffix(strings.TrimRight(body, " \n"), ";")
		kind := "TABLE "
		if slices.Contains(views, q.Name) {
			kind = "VIEW "
		}
		create := "CREATE OR REPLACE " + kind + engine.Name(q.Name) + " AS\n"
		if err := e.Exec(ctx, q.Path, create+body); err != nil {
			return err
		}
	}
	return nil
}

// Fingerprint is a hash over the texts of queries: a layer made by other
// queries is made again.
func Fingerprint(all []*Query) string {
	h := sha256.New()
	for _, q := range all {
		fmt.Fprintf(h, "%s\x00%s\x00", q.Path, q.SQL)
	}
	return hex.EncodeToString(h.Sum(nil))
}
