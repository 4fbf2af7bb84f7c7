// Package inspect looks at exports that no map describes yet: what they are,
// which columns and codes they hold, and what site.yaml could say of them. It
// shows names of columns, shapes, counts, and codes that many patients share;
// never a cell that may tell of a person.
package inspect

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/contract"
	"thawline/internal/read"
)

// Options says how exports are looked at.
type Options struct {
	// Rows is how many rows of each file are looked at; 0 is all.
	Rows int64
	// Vouched are headers of columns of which a person says that they hold codes:
	// codes that many patients share are shown whatever they look like.
	Vouched []string
	// Progress is told which file is looked at, and how many of all bytes are
	// done; it may be nil.
	Progress func(name string, done, total int64)

	watch *watch
}

// Findings is what was found in a number of files.
type Findings struct {
	// Feeds are groups of files of one header, in order of their first file.
	Feeds []Feed `json:"feeds"`
	// Refused are files that could not be read, and why.
	Refused []Refused `json:"refused,omitempty"`
	// Products are the product codes of all feeds, the commonest first.
	Products []Code `json:"products,omitempty"`
	// ProductsHidden counts rows of product codes that are not shown.
	ProductsHidden int64 `json:"products_hidden,omitempty"`
	// Missing are tables that a site needs and that none of the files is.
	Missing []string `json:"missing,omitempty"`
}

// Refused is a file that could not be read.
type Refused struct {
	File string `json:"file"`
	Why  string `json:"why"`
}

// Feed is what files of one header are.
type Feed struct {
	Files []File `json:"files"`
	// Glob is a pattern of their paths, FileDate the pattern of the date in
	// their names, or empty; FileDateNote says why there is none.
	Glob         string `json:"glob"`
	FileDate     string `json:"file_date,omitempty"`
	FileDateNote string `json:"file_date_note,omitempty"`
	// Looks says what kind of file they are, in a few words.
	Looks string `json:"looks"`
	// Encoding and Delimiter are what site.yaml must state, or empty where the
	// program finds it by itself.
	Encoding  string `json:"encoding,omitempty"`
	Delimiter string `json:"delimiter,omitempty"`
	// Sheet is the sheet of a workbook of several, or empty.
	Sheet string `json:"sheet,omitempty"`
	// HeaderRow is the row of the names of the columns under a title, or 0.
	HeaderRow int64 `json:"header_row,omitempty"`
	// Decimal is the mark of decimals to be stated, comma or point, or empty.
	Decimal string `json:"decimal,omitempty"`
	// Table is the table that they are taken for, or empty. Sure says that no
	// other comes near.
	Table string `json:"table,omitempty"`
	Sure  bool   `json:"sure"`
	// Might are tables that they might be, the best first, where Table is empty.
	Might []string `json:"might,omitempty"`
	// Lacks are the columns that the table requires and that were not found.
	Lacks []string `json:"lacks,omitempty"`
	// Canonical says that the header bears the contract's own names.
	Canonical bool     `json:"canonical,omitempty"`
	Columns   []Column `json:"columns"`
	// TimeForms are the proven forms of its times, ISO 8601 left out; OpenForms
	// are sets of forms of which none can be excluded, with their columns.
	TimeForms []FeedForm `json:"time_forms,omitempty"`
	OpenForms []OpenForm `json:"open_forms,omitempty"`
	// Units are tests and kinds of measure whose unit is not stated in all rows.
	Units []UnitWanted `json:"units,omitempty"`
	// NoValue are the words in place of results' numbers, or nil.
	NoValue *Column `json:"no_value,omitempty"`
	// Undecided says in sentences what a person must decide.
	Undecided []string `json:"undecided,omitempty"`

	rows int64
	// decimalNote says what proves Decimal, decimalOpen why none is stated.
	decimalNote, decimalOpen string
	// messages says that they are messages or resources.
	messages bool
}

// File is one file of a feed.
type File struct {
	Path string `json:"path"`
	Rows int64  `json:"rows"`
	// Part says that there are more rows, which were not looked at.
	Part bool `json:"part,omitempty"`
	// Date is the day in its name, or empty.
	Date string `json:"date,omitempty"`
}

// Column is what one column of a feed holds.
type Column struct {
	// Name is the header.
	Name string `json:"name"`
	// Filled is how many cells are not empty, Distinct how many different texts
	// they hold; -1 where there are too many to count.
	Filled   int64 `json:"filled"`
	Distinct int   `json:"distinct"`
	// Holds says in words what the cells are, without one of them.
	Holds string `json:"holds"`
	// Role is the contract's column that it is proposed for, or empty; Sure says
	// that header and content agree.
	Role string `json:"role,omitempty"`
	Sure bool   `json:"sure,omitempty"`
	// Might are the roles that a person may choose from.
	Might []string `json:"might,omitempty"`
	// Codes are its local codes, the commonest first, where they may be shown;
	// Hidden counts those that may not, and HiddenRows the rows that hold them.
	Codes      []Code `json:"codes,omitempty"`
	Hidden     int    `json:"hidden,omitempty"`
	HiddenRows int64  `json:"hidden_rows,omitempty"`
}

// Code is a local code.
type Code struct {
	Code string `json:"code"`
	Rows int64  `json:"rows"`
	// Word is the contract's word where the local one is plain, or empty.
	Word string `json:"word,omitempty"`
	// Note says what else is known of it: the units of its results, the volume
	// and the description of a product.
	Note string `json:"note,omitempty"`
	// ML is the usual volume of a product in mL, 0 where it is not known.
	ML float64 `json:"ml,omitempty"`
}

// FeedForm is a proven form of times, and the columns that hold it.
type FeedForm struct {
	TimeForm
	Columns []string `json:"columns"`
}

// OpenForm is a choice between forms.
type OpenForm struct {
	Forms   []TimeForm `json:"forms"`
	Columns []string   `json:"columns"`
	Cells   int64      `json:"cells"`
}

// UnitWanted is a test or a kind of measure with rows that state no unit.
type UnitWanted struct {
	Analyte string `json:"analyte"`
	Rows    int64  `json:"rows"`
	// Low and High hold the middle half of the values of those rows.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Files looks at the files at paths and says what they are. A file that cannot
// be read is among the refused; the error is that of the context alone.
func Files(ctx context.Context, paths []string, o Options) (*Findings, error) {
	found := &Findings{}
	var groups []*group
	seen := map[string]bool{}
	o.watch = newWatch(o.Progress, paths)
	defer o.watch.done()
	for _, path := range paths {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if path = filepath.Clean(path); seen[path] {
			continue
		}
		seen[path] = true
		o.watch.begin(path)
		fresh, refused := lookAt(ctx, path, o, groups)
		o.watch.end()
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		groups, found.Refused = append(groups, fresh...), append(found.Refused, refused...)
	}
	groups = slices.DeleteFunc(groups, func(g *group) bool {
		if !g.headlessGroup() {
			return false
		}
		for _, file := range g.files {
			found.Refused = append(found.Refused, Refused{file.Path, noHeader})
		}
		return true
	})
	for _, g := range groups {
		g.understand()
		if err := g.cross(ctx, o); err != nil {
			return nil, err
		}
		found.Feeds = append(found.Feeds, g.feed())
	}
	globs(found.Feeds)
	found.Products, found.ProductsHidden = products(groups)
	for _, t := range []string{"issues", "labs"} {
		there := false
		for _, f := range found.Feeds {
			there = there || f.Table == t
		}
		if !there {
			found.Missing = append(found.Missing, t)
		}
	}
	return found, nil
}

// reason says why a file was refused, without its path: it stands beside.
func reason(path string, err error) string {
	var fault *read.Error
	if errors.As(err, &fault) {
		if fault.Place > 0 {
			return fmt.Sprintf("row %d: %s", fault.Place, fault.Says)
		}
		return fault.Says
	}
	return strings.TrimPrefix(strings.ReplaceAll(err.Error(), "open "+path+": ", ""), path+": ")
}

// tableOf is the contract's table of a reading, or nil.
func tableOf(r *reading) *contract.Table {
	if r == nil {
		return nil
	}
	return r.table
}
