package read

import (
	"iter"

	"thawline/internal/read/delimited"
	"thawline/internal/read/source"
	"thawline/internal/read/xlsx"
)

// openDelimited opens delimited text.
func openDelimited(text *source.Text, name string, o Options, look *Look) (Export, error) {
	e, err := delimited.Open(text, name, o.Delimiter, o.HeaderRow)
	if err != nil {
		return nil, err
	}
	look.Delimiter = e.Delimiter
	return rows{e}, nil
}

// rows is delimited text as an Export.
type rows struct{ export *delimited.Export }

func (r rows) Names() []string { return r.export.Header }

func (r rows) Notes() []string { return r.export.Notes() }

func (r rows) Stretches() iter.Seq2[Stretch, error] {
	return stretches(r.export.Segments(), func(s *delimited.Segment) Stretch { return ofCells{s} })
}

// sheet is a sheet of a workbook as an Export.
type sheet struct{ export *xlsx.Export }

func (s sheet) Names() []string { return s.export.Header }

func (s sheet) Close() error { return s.export.Close() }

func (s sheet) Notes() []string { return s.export.Notes() }

func (s sheet) Stretches() iter.Seq2[Stretch, error] {
	return stretches(s.export.Stretches(), func(s *xlsx.Stretch) Stretch { return ofCells{s} })
}

// cellRows is a stretch of a format that knows rows of cells alone.
type cellRows interface {
	Rows(yield func(place int64, cells [][]byte) bool) error
	Release()
}

// stretches gives a format's own stretches as those of the interface.
func stretches[S any](own iter.Seq2[S, error], as func(S) Stretch) iter.Seq2[Stretch, error] {
	return func(yield func(Stretch, error) bool) {
		for s, err := range own {
			if err != nil {
				yield(nil, err)
				return
			}
			if !yield(as(s), nil) {
				return
			}
		}
	}
}

type ofCells struct{ cellRows }

func (s ofCells) Rows(yield func(Row) bool) error {
	return s.cellRows.Rows(func(place int64, cells [][]byte) bool {
		return yield(Row{Place: place, Cells: cells})
	})
}

// openWorkbook opens a sheet, which needs the file's bytes at any place.
func (f *File) openWorkbook(o Options) error {
	f.Look.Format = XLSX
	at, size, err := f.source.Bytes()
	if err != nil {
		return err
	}
	e, err := xlsx.Open(at, size, f.source.Name(), xlsx.Options{Sheet: o.Sheet, HeaderRow: o.HeaderRow, Comma: o.Decimal == ','})
	if e != nil {
		f.Look.Sheets, f.Look.Shown, f.Look.Sheet = e.Sheets, e.Shown, e.Sheet
	}
	f.Export = sheet{e}
	return err
}
