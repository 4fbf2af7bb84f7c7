package audit

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

func benchReading(t *testing.T, st *store.Store, table *contract.Table, date string, parts map[string]string) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	id := store.SHA256([]byte(table.Name + date))
	err = st.CommitReading(func(dir string) (store.Reading, error) {
		r := store.Reading{ID: id, Contract: contract.Version, Table: table.Name, File: table.Name + ".csv", Date: date, SHA256: id}
		for name, sel := range parts {
			w, err := store.NewWriter(filepath.Join(dir, name+".parquet"), table, table.SourceColumns())
			if err != nil {
				return r, err
			}
			var cols []string
			for _, c := range table.SourceColumns() {
				at := strings.Index(sel, "{"+c.Name+"=")
				x := "NULL"
				if at >= 0 {
					rest := sel[at+len(c.Name)+2:]
					x = rest[:strings.Index(rest, "}")]
				}
				cols = append(cols, fmt.Sprintf("CAST(%s AS %s) AS %s", x, c.Kind.SQL(), engine.Name(c.Name)))
			}
			for rec, err := range e.Records(ctx, "x", "SELECT "+strings.Join(cols, ", ")+sel[strings.Index(sel, " FROM "):]) {
				if err != nil {
					return r, err
				}
				if err := w.Write(rec); err != nil {
					return r, err
				}
			}
			f, err := w.Close()
			if err != nil {
				return r, err
			}
			f.Name = name
			r.Files = append(r.Files, f)
			r.Read += f.Rows
		}
		r.Accepted = r.Read
		return r, nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestZZBench(t *testing.T) {
	dir := os.Getenv("ZZ")
	if dir == "" {
		t.Skip()
	}
	st, err := store.Open(dir, true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if len(st.Readings()) == 0 {
		for year := 2017; year <= 2025; year++ {
			parts := map[string]string{}
			for i, test := range contract.Tests[:9] {
				parts["labs-"+test] = fmt.Sprintf("{patient_id='P'||hash(i*7+%d)%%250000}{test='%s'}{value=1.0+(i%%30)/10.0}{value_raw=(1.0+(i%%30)/10.0)}{unit_raw='x'}{point_of_care=false}{collected_at=TIMESTAMP '%d-01-01' + to_seconds(i*140)}{resulted_at=TIMESTAMP '%d-01-01' + to_seconds(i*140+3600)}{status='final'}{source_file='labs.csv'}{source_row=i+2} FROM range(222000) r(i)", i, test, year, year)
			}
			benchReading(t, st, contract.Labs, fmt.Sprintf("%d-12-31", year), parts)
			benchReading(t, st, contract.Issues, fmt.Sprintf("%d-12-31", year), map[string]string{"issues": fmt.Sprintf("{unit_no='U%d'||i}{product_code='F'}{bag_code='F'}{is_batch=false}{component=CASE WHEN i%%10=0 THEN 'plasma' ELSE 'red_cells' END}{nominal_ml=275}{patient_id='P'||hash(i)%%60000}{location='W'||i%%20}{issued_at=TIMESTAMP '%d-01-01' + to_seconds(i*130)}{issued_local=TIMESTAMP '%d-01-01' + to_seconds(i*130)}{fate='presumed'}{source_file='issues.csv'}{source_row=i+2} FROM range(240000) r(i)", year, year, year)})
		}
	}
	london, _ := time.LoadLocation("Europe/London")
	start := time.Now()
	r, err := current(context.Background(), st, clock{london, "Europe/London"}, 0)
	fmt.Println(time.Since(start), r, err)
	n := len(st.Readings())
	month := fmt.Sprintf("2026-%02d-28", n%12+1)
	parts := map[string]string{}
	for i, test := range contract.Tests[:9] {
		parts["labs-"+test] = fmt.Sprintf("{patient_id='P'||hash(i*7+%d)%%250000}{test='%s'}{value=1.0}{point_of_care=false}{collected_at=TIMESTAMP '2026-01-01' + to_seconds(i*140+%d)}{status='final'}{source_file='labs.csv'}{source_row=i+2} FROM range(20000) r(i)", i, test, n)
	}
	benchReading(t, st, contract.Labs, month, parts)
	benchReading(t, st, contract.Issues, month, map[string]string{"issues": fmt.Sprintf("{unit_no='V%d'||i}{product_code='F'}{bag_code='F'}{is_batch=false}{component='plasma'}{nominal_ml=275}{patient_id='P'||hash(i)%%60000}{issued_at=TIMESTAMP '2026-01-01' + to_seconds(i*130)}{issued_local=TIMESTAMP '2026-01-01' + to_seconds(i*130)}{fate='presumed'}{source_file='issues.csv'}{source_row=i+2} FROM range(18000) r(i)", n)})
	start = time.Now()
	r, err = current(context.Background(), st, clock{london, "Europe/London"}, 0)
	fmt.Println(time.Since(start), r, err)
}
