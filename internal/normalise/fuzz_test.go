package normalise

import (
	"strings"
	"testing"

	"thawline/internal/contract"
)

// FuzzRows: whatever the cells hold, each row is accepted, rejected or set
// aside, nothing required is null, and a rejected row says why.
func FuzzRows(f *testing.F) {
	for _, cells := range []string{
		"U1;F;275;2025-03-10T10:00Z", "=G12349865432100;B;1e308;0000-01-01", "\xff\xfe;FT;-0;9999-12-31T23:59:59.9999999999+18:59", ";;;", "inr;>9.0;µmol/L;2025-10-26 01:30",
		"P;weight;154;lb", "P;diagnosis;≥;26/10/2025 01:30", "fibrinogen;<=;mg/dL;2025-03-30T01:30", "hb;1,500;g/L;31/12/1899",
	} {
		f.Add(cells, "2025-10-26T01:20;2025-10-26T01:10;2025-10-26")
	}
	var mappers []*Mapper
	for _, table := range contract.Feeds() {
		s, feed := load(f, table.Name, "time_format: 02/01/2006 15:04")
		var header []string
		for _, c := range table.SourceColumns() {
			if !c.Derived {
				header = append(header, c.Name)
			}
		}
		end, err := EndOfDay(s.Zone, "2025-12-31")
		if err != nil {
			f.Fatal(err)
		}
		m, err := New(s, feed, header, FileInfo{Name: "x.csv", Date: end})
		if err != nil {
			f.Fatal(err)
		}
		mappers = append(mappers, m)
	}
	f.Fuzz(func(t *testing.T, first, second string) {
		words := strings.Split(first+";"+second, ";")
		for _, m := range mappers {
			b := m.NewBatch()
			// Every word comes to stand in every column.
			for shift := range words {
				cells := make([][]byte, m.width)
				for i := range cells {
					cells[i] = []byte(words[(i+shift)%len(words)])
				}
				b.Add(int64(shift+2), cells)
			}
			out := b.Finish()
			c := out.Counts
			if c.Read != int64(len(words)) || c.Read != c.Accepted+c.Rejected+c.SetAside {
				t.Fatalf("%s: counts %+v of %d rows", m.table.Name, c, len(words))
			}
			var stored int64
			for _, record := range out.Records {
				stored += record.NumRows()
				texts(t, record)
			}
			if stored != c.Accepted+c.Counted[countDerived] {
				t.Fatalf("%s: %d rows stored, %d accepted, %d derived", m.table.Name, stored, c.Accepted, c.Counted[countDerived])
			}
			why := map[string]bool{}
			for _, line := range texts(t, out.Problems) {
				if line["severity"] == "rejected" {
					why[line["source_row"]] = true
				}
			}
			if int64(len(why)) != c.Rejected {
				t.Fatalf("%s: %d rows rejected, %d say why", m.table.Name, c.Rejected, len(why))
			}
		}
	})
}
