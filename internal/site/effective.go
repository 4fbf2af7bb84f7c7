package site

import (
	"encoding/json"

	"thawline/internal/contract"
)

// cellsVersion rises where the same cell by the same site file is read as another
// value than before, without a change of the contract: the next ingest then reads
// anew each source that is still there, as after a change of its map. 2: numbers
// with thousands, results with a flag, files dated by a month.
const cellsVersion = 2

// Effective returns, as JSON with sorted keys, everything in the site file that
// changes what a file of this feed reads as. It is part of a reading's identity:
// where it changes, the file is read anew. The glob is no part of it.
func (f *Feed) Effective(s *Site) []byte {
	type period struct {
		From  string
		Value float64
	}
	effective := struct {
		Contract, Cells     int
		Zone, Table         string
		FileDate            string
		TimeFormats         []string
		Delimiter, Encoding string
		Sheet               string            `json:",omitempty"`
		Decimal             string            `json:",omitempty"`
		HeaderRow           int64             `json:",omitempty"`
		PatientIDType       string            `json:",omitempty"`
		PatientIDAuthority  string            `json:",omitempty"`
		Fields              map[string]string `json:",omitempty"`
		Columns             map[string]string
		Codes               map[string]map[string]string
		Units               map[string]string
		Ignore              map[string]bool
		IgnoreRest          bool
		Products            map[string]Product  `json:",omitempty"`
		MeanNormal          map[string][]period `json:",omitempty"`
	}{Contract: contract.Version, Cells: cellsVersion, Zone: s.ZoneName, Table: f.Table.Name, TimeFormats: f.TimeFormats, Delimiter: f.Delimiter, Encoding: f.Encoding, Sheet: f.Sheet, Decimal: f.Decimal, HeaderRow: f.HeaderRow,
		PatientIDType: f.PatientIDType, PatientIDAuthority: f.PatientIDAuthority, Fields: f.Fields, Columns: f.Columns, Codes: f.Codes, Units: f.Units, Ignore: f.Ignore, IgnoreRest: f.IgnoreRest}
	if f.FileDate != nil {
		effective.FileDate = f.FileDate.String()
	}
	switch f.Table {
	case contract.Issues, contract.Bedside:
		effective.Products = s.Products
	case contract.Labs:
		effective.MeanNormal = map[string][]period{}
		for test, all := range s.MeanNormal {
			for _, m := range all {
				effective.MeanNormal[test] = append(effective.MeanNormal[test], period{m.From.Format("2006-01-02"), m.Value})
			}
		}
	}
	text, err := json.Marshal(effective)
	if err != nil {
		panic(err) // Strings, numbers and maps with text keys always encode.
	}
	return text
}
