package inspect

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"unicode"

	"thawline/internal/normalise"
	"thawline/internal/read"
)

// trimmed takes outer spaces off a cell.
func trimmed(cell []byte) []byte { return bytes.TrimSpace(cell) }

// trialRows is how many rows are read to choose a delimiter or an encoding.
const trialRows = 2000

// encodings are those that are tried, the one that states itself first.
var encodings = []string{"", "windows-1252", "utf-16le", "utf-16be"}

// open opens an export as it is, else with the delimiter, the encoding or the row
// of the header that alone makes sense of it, which site.yaml must then state.
func open(path string) (*read.File, read.Options, error) {
	var o read.Options
	first := try(path, o)
	if first == nil {
		return below(path, o)
	}
	var fault *read.Error
	if !errors.As(first, &fault) {
		return nil, o, first
	}
	for _, encoding := range encodings {
		var fits []byte
		for _, d := range []byte{0, ',', ';', '\t', '|'} {
			if d == 0 && encoding == "" {
				continue
			}
			o := read.Options{Encoding: encoding, Delimiter: d}
			if even(path, o) {
				if fits = append(fits, d); d == 0 {
					break // It finds the delimiter by itself.
				}
			}
		}
		if len(fits) == 1 {
			return below(path, read.Options{Encoding: encoding, Delimiter: fits[0]})
		}
	}
	// A title hides what the rows under it are.
	for _, encoding := range encodings {
		if o := (read.Options{Encoding: encoding}); titled(path, &o) {
			f, err := read.Open(path, o)
			return f, o, err
		}
	}
	return nil, o, first
}

// below opens an export under its title, where it has one.
func below(path string, o read.Options) (*read.File, read.Options, error) {
	titled(path, &o)
	f, err := read.Open(path, o)
	return f, o, err
}

// lowestHeader is the last row on which a header is looked for.
const lowestHeader = 15

// titled finds the row of the header where the first row that is not blank is a
// title: few of its cells are filled, and further down stands a row of names, with
// rows of as many cells under it that are no names. It states that row in o.
func titled(path string, o *read.Options) bool {
	look, _ := read.LookAt(path, *o)
	if look.Format == read.HL7 || look.Format == read.FHIR {
		return false
	}
	above := filled(look.Names)
	if above > 3 && 2*above > len(look.Names) && !slices.ContainsFunc(look.Names, isLikeCell) {
		return false
	}
	for row := int64(2); row <= lowestHeader; row++ {
		below := *o
		below.HeaderRow = row
		if look, err := read.LookAt(path, below); err == nil && filled(look.Names) > max(above, 1) && allNames(look.Names) && even(path, below) && overData(path, below) {
			*o = below
			return true
		}
	}
	return false
}

// filled counts the names that are there.
func filled(names []string) (n int) {
	for _, name := range names {
		if name != "" {
			n++
		}
	}
	return n
}

// allNames reports whether a row may be names of columns: none is like a cell, and
// none stands twice.
func allNames(names []string) bool {
	seen := map[string]bool{"": false}
	for _, name := range names {
		if isLikeCell(name) || seen[plain(name)] {
			return false
		}
		seen[plain(name)] = name != ""
	}
	return true
}

// overData reports whether a cell of the first rows, read so, is like none of a name.
func overData(path string, o read.Options) bool {
	f, err := read.Open(path, o)
	if err != nil {
		return false
	}
	defer f.Close()
	data := false
	_, _, err = eachRow(context.Background(), f, 50, nil, func(_ int64, cells [][]byte) {
		data = data || slices.ContainsFunc(cells, func(cell []byte) bool { return isLikeCell(string(cell)) })
	})
	return err == nil && data
}

// try reads the first rows of an export and returns the error, if there is one.
func try(path string, o read.Options) error {
	f, err := read.Open(path, o)
	if err != nil {
		return err
	}
	defer f.Close()
	_, _, err = eachRow(context.Background(), f, trialRows, nil, func(int64, [][]byte) {})
	return err
}

// even reports whether the first rows of an export, read so, all have as many
// cells as its header, over one, and hold letters and signs that people write.
func even(path string, o read.Options) bool {
	f, err := read.Open(path, o)
	if err != nil {
		return false
	}
	defer f.Close()
	names := f.Names()
	good := len(names) > 1 && !slices.ContainsFunc(names, odd)
	n, _, err := eachRow(context.Background(), f, trialRows, nil, func(_ int64, cells [][]byte) {
		good = good && len(cells) == len(names)
	})
	return err == nil && good && n > 0
}

// odd reports whether a name of a column holds what no person writes there: text
// of another encoding does.
func odd(name string) bool {
	return strings.ContainsFunc(name, func(r rune) bool {
		return r == unicode.ReplacementChar || !unicode.IsPrint(r) && r != '\t' || unicode.In(r, unicode.Han, unicode.Hangul, unicode.Yi, unicode.Co)
	})
}

// isLikeCell reports whether a name of a column is more like a cell of a row: a
// time, a number, a donation number, or with a run of digits.
func isLikeCell(name string) bool {
	if name == "" {
		return false
	}
	cell := []byte(name)
	if _, ok := normalise.ReadISO(cell); ok {
		return true
	}
	if _, _, ok := normalise.Number(cell); ok {
		return true
	}
	form, _, _ := normalise.Donation(cell)
	return form || digitRun(name) >= 4
}
