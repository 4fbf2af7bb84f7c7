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

// open opens an export as it is, else with the delimiter or the encoding that
// alone makes sense of it, which site.yaml must then state.
func open(path string) (*read.File, read.Options, error) {
	var o read.Options
	first := try(path, o)
	if first == nil {
		f, err := read.Open(path, o)
		return f, o, err
	}
	var fault *read.Error
	if !errors.As(first, &fault) {
		return nil, o, first
	}
	for _, encoding := range []string{"", "windows-1252", "utf-16le", "utf-16be"} {
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
			o := read.Options{Encoding: encoding, Delimiter: fits[0]}
			f, err := read.Open(path, o)
			return f, o, err
		}
	}
	return nil, o, first
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
