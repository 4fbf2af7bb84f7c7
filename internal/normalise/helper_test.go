package normalise

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"

	"thawline/internal/contract"
	"thawline/internal/site"
)

// All rows, codes and numbers of patients in these tests are invented.

const sitePrefix = `hospital: Test (invented)
time_zone: Europe/London
products:
  F: {component: plasma, product: fresh_frozen, nominal_ml: 275, becomes: FT}
  FT: {component: plasma, product: thawed, nominal_ml: 275}
  R: {component: red_cells, nominal_ml: 280}
  B: {component: plasma, product: pathogen_reduced, nominal_ml: 200, batch: true}
mean_normal_s: {pt_s: [{from: 2025-01-01, value: 12}, {from: 2025-07-01, value: 12.5}]}
feeds:
  - {table: issues, files: none.csv}
  - {table: labs, files: none.csv}
`

// load makes a site whose last feed is the given one; extra holds more keys of it.
func load(t testing.TB, table, extra string) (*site.Site, *site.Feed) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "site.yaml")
	text := sitePrefix + "  - table: " + table + "\n    files: x.csv\n"
	for _, line := range strings.Split(strings.TrimSpace(extra), "\n") {
		if line != "" {
			text += "    " + line + "\n"
		}
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := site.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	return s, &s.Feeds[len(s.Feeds)-1]
}

// result is an Output as text: rows by table, each a map of the cells that are
// not null; problems as "row column severity".
type result struct {
	rows     map[string][]map[string]string
	problems []map[string]string
	counts   Counts
}

// otherZone is the hospital's, where it is not that of sitePrefix.
var otherZone *time.Location

// read normalises rows of comma-parted cells; the first is the header.
func read(t testing.TB, table, extra string, day string, rows ...string) result {
	t.Helper()
	s, f := load(t, table, extra)
	if otherZone != nil {
		s.Zone = otherZone
	}
	info := FileInfo{Name: "x.csv"}
	if day != "" {
		end, err := EndOfDay(s.Zone, day)
		if err != nil {
			t.Fatal(err)
		}
		info.Date = end
	}
	m, err := New(s, f, strings.Split(rows[0], ";"), info)
	if err != nil {
		t.Fatal(err)
	}
	b := m.NewBatch()
	for i, row := range rows[1:] {
		var cells [][]byte
		for _, c := range strings.Split(row, ";") {
			cells = append(cells, []byte(c))
		}
		b.Add(int64(i+2), cells)
	}
	out := b.Finish()
	c := out.Counts
	if c.Read != c.Accepted+c.Rejected+c.SetAside || c.Read != int64(len(rows)-1) {
		t.Errorf("%d rows in; %d read, %d accepted, %d rejected, %d set aside", len(rows)-1, c.Read, c.Accepted, c.Rejected, c.SetAside)
	}
	for _, p := range texts(t, out.Problems) {
		if next := NextStep(p["reason"]); next == otherStep || strings.Contains(p["reason"], "{}") {
			t.Errorf("the problem %q has no next step of its own", p["reason"])
		}
	}
	r := result{rows: map[string][]map[string]string{}, problems: texts(t, out.Problems), counts: c}
	for name, record := range out.Records {
		fields := record.Schema().Fields()
		for i := range fields {
			if words, ok := fields[i].Type.(*arrow.DictionaryType); ok {
				fields[i].Type = words.ValueType
			}
		}
		if !arrow.NewSchema(fields, nil).Equal(contract.Schema(f.Table.SourceColumns())) {
			t.Errorf("%s: schema %v", name, record.Schema())
		}
		r.rows[name] = texts(t, record)
	}
	return r
}

// texts reads a record back through Arrow's own accessors, and checks that no
// required column is null.
func texts(t testing.TB, record arrow.Record) []map[string]string {
	t.Helper()
	rows := make([]map[string]string, record.NumRows())
	for i := range rows {
		rows[i] = map[string]string{}
		for j, field := range record.Schema().Fields() {
			column := record.Column(j)
			if column.IsNull(i) {
				if !field.Nullable {
					t.Errorf("row %d: %s is null, which the contract forbids", i, field.Name)
				}
				continue
			}
			switch c := column.(type) {
			case *array.Timestamp:
				rows[i][field.Name] = c.Value(i).ToTime(arrow.Microsecond).Format("2006-01-02T15:04:05.999999")
			case *array.Date32:
				rows[i][field.Name] = c.Value(i).ToTime().Format("2006-01-02")
			case *array.Decimal128:
				rows[i][field.Name] = c.Value(i).ToString(3)
			default:
				rows[i][field.Name] = column.ValueStr(i)
			}
		}
	}
	return rows
}

func (r result) one(t testing.TB, table string) map[string]string {
	t.Helper()
	if len(r.rows[table]) != 1 {
		t.Fatalf("%d rows of %s, want 1; problems %v", len(r.rows[table]), table, r.problems)
	}
	return r.rows[table][0]
}

func (r result) faults() string {
	var all []string
	for _, p := range r.problems {
		all = append(all, p["column"]+" "+p["severity"])
	}
	return strings.Join(all, ", ")
}

// same compares the named cells; an empty want means null.
func same(t testing.TB, what string, got map[string]string, want map[string]string) {
	t.Helper()
	for name, w := range want {
		if got[name] != w {
			t.Errorf("%s: %s is %q, want %q", what, name, got[name], w)
		}
	}
}

func headerError(t testing.TB, err error) *HeaderError {
	t.Helper()
	var fault *HeaderError
	if !errors.As(err, &fault) {
		t.Fatalf("error %v, want a *HeaderError", err)
	}
	return fault
}

func recordsEqual(a, b arrow.Record) bool { return b != nil && array.RecordEqual(a, b) }
