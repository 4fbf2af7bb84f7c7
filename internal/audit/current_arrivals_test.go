package audit

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/store"
)

// arrivalMoments lie about the ends of dekads, months and years, in London's time
// and in UTC: in summer a local midnight is 23:00 of the day before.
var arrivalMoments = []string{
	"2024-12-31T23:30", "2025-01-01T00:30", "2025-01-10T23:59", "2025-01-11T00:00", "2025-06-30T23:30", "2025-07-01T00:30",
	"2025-07-20T12:00", "2025-12-31T23:59", "2026-01-01T00:00", "2026-01-21T00:10",
}

// arrivalTables are those of which arrivals invents exports, the more often the
// more often they stand here.
var arrivalTables = []string{"issues", "issues", "bedside", "labs", "labs", "labs", "events", "medicines", "measures", "patients", "aliases", "activity"}

// arrivals invents exports of tables in which the same few keys come again and
// again: corrected, cancelled, told of another patient, and late.
func arrivals(r *rand.Rand, exports int, tables ...string) []monthExport {
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	moment := func() string { return arrivalMoments[r.IntN(len(arrivalMoments))] }
	patient := func() string { return pick("A", "B", "C", "D", "E1", "E2") }
	headers := map[string]string{
		"issues":    "unit_no,patient_id,thawed_at,issued_at,discarded_at,fate,status",
		"bedside":   "unit_no,patient_id,started_at,ended_at,status",
		"labs":      "patient_id,collected_at,resulted_at,value,status,derived_from",
		"events":    "patient_id,kind,at,detail,status",
		"medicines": "patient_id,medicine,given_at,status",
		"measures":  "patient_id,kind,measured_at,value,status",
		"patients":  "patient_id,sex,abo,status",
		"aliases":   "alias,patient_id,status",
		"activity":  "month,measure,count",
	}
	cancelled := func() string { return pick("", "", "", "cancelled") }
	row := map[string]func() string{
		"issues": func() string {
			issued, discarded, thawed := moment(), "", ""
			if r.IntN(4) == 0 {
				issued, discarded = "", pick("", moment())
			}
			if issued == "" && (discarded == "" || r.IntN(2) == 0) {
				thawed = moment()
			}
			return strings.Join([]string{pick("U1", "U2", "U3", "U4"), patient(), thawed, issued, discarded, pick("presumed", "returned", "unknown", "discarded"), cancelled()}, ",")
		},
		"bedside": func() string {
			return strings.Join([]string{pick("U1", "U2", "U3", "U4", "U9"), patient(), moment(), pick("", moment()), cancelled()}, ",")
		},
		"labs": func() string {
			return strings.Join([]string{patient(), moment(), pick("", moment()), pick("1.1", "1.2", "2.5"), pick("preliminary", "final", "corrected", "cancelled"), pick("", "", "pt_s")}, ",")
		},
		"events": func() string {
			return strings.Join([]string{patient(), pick("bleeding", "death"), moment(), pick("major", "minor"), cancelled()}, ",")
		},
		"medicines": func() string {
			return strings.Join([]string{patient(), pick("heparin", "vitamin_k"), moment(), cancelled()}, ",")
		},
		"measures": func() string {
			return strings.Join([]string{patient(), "weight", moment(), pick("70", "71"), cancelled()}, ",")
		},
		"patients": func() string {
			return strings.Join([]string{patient(), pick("F", "M"), pick("A", "O"), cancelled()}, ",")
		},
		"aliases":  func() string { return pick("E1,A", "E1,B", "E2,E1", "E2,C", "E9,D", "C,D") + "," + cancelled() },
		"activity": func() string { return pick("2025-01", "2025-06") + ",admissions," + pick("10", "20") },
	}
	var all []monthExport
	for i := range exports {
		table := pick(tables...)
		lines := []string{headers[table]}
		for range 1 + r.IntN(6) {
			lines = append(lines, row[table]())
		}
		// The date puts an export among those that came before, as often as behind them.
		all = append(all, monthExport{table, fmt.Sprintf("2026-%02d-%02d", 1+r.IntN(12), 1+i%28), strings.Join(lines, "\n") + "\n"})
	}
	return all
}

// TestArrivals holds the layer of a store that is brought up to date after every
// few exports, some of which are withdrawn again, against that of one filled at
// once: byte for byte, with parts of a few rows.
func TestArrivals(t *testing.T) {
	kept := int64(0)
	for seed := range propertySeeds() {
		differs, n := arrivalsDiffer(t, seed, 20, arrivalTables...)
		if differs != "" {
			t.Fatalf("seed %d: %s", seed, differs)
		}
		kept += n
	}
	// Patients and their numbers alone, which many exports of one store change.
	for seed := range 3 * propertySeeds() {
		if differs, _ := arrivalsDiffer(t, 1000+seed, 16, "patients", "patients", "aliases"); differs != "" {
			t.Fatalf("seed %d of patients: %s", seed, differs)
		}
	}
	if kept == 0 {
		t.Error("no file was ever kept")
	}
}

// TestArrivalsOfVersions does the same with exports that share their names, of which
// an older version becomes the newest now and then.
func TestArrivalsOfVersions(t *testing.T) {
	for seed := range propertySeeds() {
		if differs, _ := versionsDiffer(t, 3000+seed, 20, arrivalTables...); differs != "" {
			t.Fatalf("seed %d: %s", seed, differs)
		}
	}
	for seed := range propertySeeds() {
		if differs, _ := versionsDiffer(t, 4000+seed, 12, "patients", "patients", "aliases"); differs != "" {
			t.Fatalf("seed %d of patients: %s", seed, differs)
		}
		if differs, _ := versionsDiffer(t, 5000+seed, 12, "issues", "issues", "bedside"); differs != "" {
			t.Fatalf("seed %d of units: %s", seed, differs)
		}
	}
}

// TestOlderVersionIsNewestAgain: where an older version of a name becomes its newest,
// and something else comes at the same time, nothing is taken over that was true
// before.
func TestOlderVersionIsNewestAgain(t *testing.T) {
	for _, c := range [][3]string{
		{"patients", "patient_id,sex\nA,F\nB,F\n", "patient_id,sex\nC,M\n"},
		{"issues", "unit_no,patient_id,issued_at,fate\nU1,A,2025-01-05T10:00,presumed\n", "unit_no,patient_id,issued_at,fate\nU3,A,2025-01-06T10:00,presumed\n"},
		{"bedside", "unit_no,patient_id,started_at,ended_at\nU1,A,2025-01-05T10:00,2025-01-05T11:00\n", "unit_no,patient_id,started_at,ended_at\nU3,A,2025-01-06T10:00,\n"},
		{"labs", "patient_id,collected_at,value\nA,2025-01-05T09:00,1.1\n", "patient_id,collected_at,value\nC,2025-01-05T09:00,1.0\n"},
		{"events", "patient_id,kind,at,detail\nA,bleeding,2025-01-05T10:00,major\n", "patient_id,kind,at,detail\nC,death,2025-01-05T10:00,\n"},
		{"activity", "month,measure,count\n2025-01,admissions,10\n", "month,measure,count\n2025-02,admissions,10\n"},
	} {
		other := strings.NewReplacer("F", "M", "presumed", "returned", "T11:00", "T12:00", ",1.1", ",1.2", "major", "minor", ",10\n", ",11\n").Replace(c[1])
		older, newer, later := monthExport{c[0], "", c[1]}, monthExport{c[0], "", other}, monthExport{c[0], "2026-01-01", c[2]}
		st, atOnce := newStore(t), newStore(t)
		ingestExport(t, st, older)
		ingestExport(t, st, newer)
		bringUp(t, st, 1)
		if err := st.MakeNewest(older.table, older.table+".csv", store.SHA256([]byte(older.table+older.date+older.text))); err != nil {
			t.Fatal(err)
		}
		ingestExport(t, st, later)
		bringUp(t, st, 1)
		for _, x := range []monthExport{newer, older, later} {
			ingestExport(t, atOnce, x)
		}
		bringUp(t, atOnce, 1)
		if diff := cmp.Diff(layerBytes(t, atOnce), layerBytes(t, st)); diff != "" {
			t.Errorf("%s: what was true before was taken over", c[0])
		}
	}
}

// TestArrivalsNotices: TestArrivals would notice where a part that has changed is
// taken over as it stands.
func TestArrivalsNotices(t *testing.T) {
	usual := overlooked
	t.Cleanup(func() { overlooked = usual })
	for _, c := range []struct {
		file   string
		tables []string
	}{
		{"labs/", []string{"labs"}},
		{"labs/", []string{"labs", "aliases"}},
		{"units/", []string{"issues", "bedside"}},
		{"units/", []string{"issues", "aliases"}},
		{"events", []string{"events"}},
		{"patients", []string{"patients", "aliases"}},
	} {
		hidden := 0
		overlooked = func(file string) bool {
			if !strings.HasPrefix(file, c.file) {
				return false
			}
			hidden++
			return true
		}
		noticed := false
		for seed := uint64(0); seed < 8 && !noticed; seed++ {
			differs, _ := arrivalsDiffer(t, 2000+seed, 12, c.tables...)
			noticed = differs != ""
		}
		if !noticed || hidden == 0 {
			t.Errorf("%s of %v taken over %d times though they had changed: noticed %v", c.file, c.tables, hidden, noticed)
		}
	}
}

// arrivalsDiffer fills a store with invented exports, a few at a time, and says
// where it first differs from one filled at once; and how many files were kept.
func arrivalsDiffer(t *testing.T, seed uint64, n int, tables ...string) (differs string, kept int64) {
	t.Helper()
	return storesDiffer(t, seed, n, false, tables)
}

// versionsDiffer is arrivalsDiffer with exports of two names a table, undated and of
// one day.
func versionsDiffer(t *testing.T, seed uint64, n int, tables ...string) (differs string, kept int64) {
	t.Helper()
	return storesDiffer(t, seed, n, true, tables)
}

func storesDiffer(t *testing.T, seed uint64, n int, versions bool, tables []string) (differs string, kept int64) {
	t.Helper()
	usual := leastRows
	defer func() { leastRows = usual }()
	r := rand.New(rand.NewPCG(seed, 9))
	leastRows = 1 + r.Int64N(8)
	exports := arrivals(r, n, tables...)
	for i := range exports {
		if versions {
			exports[i].date = []string{"", "2026-01-01"}[r.IntN(2)]
		}
	}
	byMonth := newStore(t)
	var there []monthExport
	for len(exports) > 0 {
		n := min(len(exports), 2+r.IntN(3))
		for _, x := range exports[:n] {
			ingestExport(t, byMonth, x)
			there = append(there, x)
		}
		exports = exports[n:]
		if r.IntN(3) == 0 && len(there) > 1 {
			gone := r.IntN(len(there))
			x := there[gone]
			if err := byMonth.Withdraw(store.SHA256([]byte(x.table + x.date + x.text))); err != nil {
				t.Fatal(err)
			}
			there = slices.Delete(there, gone, gone+1)
		}
		if versions && r.IntN(2) == 0 {
			// There they stand in the order in which the other store takes them.
			at := r.IntN(len(there))
			x := there[at]
			if err := byMonth.MakeNewest(x.table, x.table+".csv", store.SHA256([]byte(x.table+x.date+x.text))); err != nil {
				t.Fatal(err)
			}
			there = append(slices.Delete(there, at, at+1), x)
		}
		got, err := tryToBringUp(t, byMonth, 1)
		if err != nil {
			return fmt.Sprintf("%d exports: %v", len(there), err), kept
		}
		kept += got.Kept
		atOnce := newStore(t)
		for _, x := range there {
			ingestExport(t, atOnce, x)
		}
		// Nothing stands there that could be taken over.
		want := bringUp(t, atOnce, 2)
		got.Written, got.Kept, want.Written, want.Kept = 0, 0, 0, 0
		if diff := cmp.Diff(want, got); diff != "" {
			return fmt.Sprintf("%d exports: counts (- at once, + month by month)\n%s", len(there), diff), kept
		}
		a, b := layerBytes(t, atOnce), layerBytes(t, byMonth)
		for name := range a {
			if a[name] != b[name] {
				return fmt.Sprintf("%d exports: %s differs", len(there), name), kept
			}
		}
		if len(a) != len(b) {
			return fmt.Sprintf("%d exports: %d files at once, %d month by month", len(there), len(a), len(b)), kept
		}
	}
	return "", kept
}

// TestDamageIsNotCopied: a part is not taken over from a file that does not hold
// what was written, for the hash of the new file would hide that.
func TestDamageIsNotCopied(t *testing.T) {
	usual := leastRows
	t.Cleanup(func() { leastRows = usual })
	leastRows = 1
	exports := []monthExport{
		{"labs", "2025-01-31", "patient_id,collected_at,value\nA,2025-01-05T09:00,1.0\nB,2025-01-15T09:00,1.0\n"},
		{"issues", "2025-01-31", "unit_no,patient_id,issued_at,fate\nU1,A,2025-01-05T10:00,presumed\nU2,B,2025-01-15T10:00,presumed\n"},
		{"events", "2025-01-31", "patient_id,kind,at\nA,death,2025-01-05T10:00\nB,death,2025-01-15T10:00\n"},
	}
	later := []monthExport{
		{"labs", "2025-02-28", "patient_id,collected_at,value\nC,2025-02-05T09:00,1.0\n"},
		{"issues", "2025-02-28", "unit_no,patient_id,issued_at,fate\nU3,C,2025-02-05T10:00,presumed\n"},
		{"events", "2025-02-28", "patient_id,kind,at\nC,death,2025-02-05T10:00\n"},
	}
	st, atOnce := newStore(t), newStore(t)
	for _, x := range exports {
		ingestExport(t, st, x)
	}
	bringUp(t, st, 1)
	for _, f := range st.Layer("current") {
		if f.Name == "labs/inr/2025" || f.Name == "issues/2025" || f.Name == "events" {
			text, err := os.ReadFile(f.Path)
			if err == nil {
				text[40] ^= 1
				err = os.WriteFile(f.Path, text, 0o600)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, x := range later {
		ingestExport(t, st, x)
	}
	for _, x := range append(exports, later...) {
		ingestExport(t, atOnce, x)
	}
	bringUp(t, st, 1)
	bringUp(t, atOnce, 1)
	if diff := cmp.Diff(layerBytes(t, atOnce), layerBytes(t, st)); diff != "" {
		t.Error("what was damaged was copied")
	}
}

func TestSpans(t *testing.T) {
	usual := leastRows
	t.Cleanup(func() { leastRows = usual })
	leastRows = 10
	at := func(day string) dekad {
		when, err := time.Parse("2006-01-02", day)
		if err != nil {
			t.Fatal(err)
		}
		return dekadOf(when)
	}
	for _, c := range []struct{ day, begins string }{
		{"2025-01-01", "2025-01-01"}, {"2025-01-10", "2025-01-01"}, {"2025-01-11", "2025-01-11"}, {"2025-01-20", "2025-01-11"},
		{"2025-01-21", "2025-01-21"}, {"2025-01-31", "2025-01-21"}, {"2024-02-29", "2024-02-21"}, {"2025-12-31", "2025-12-21"},
	} {
		var back dekad
		text, err := at(c.day).MarshalText()
		if err == nil {
			err = back.UnmarshalText(text)
		}
		if string(text) != c.begins || err != nil || back != at(c.day) {
			t.Errorf("%s lies in the dekad of %s (%v, %v), want %s", c.day, text, back, err, c.begins)
		}
	}
	got := spansOf(map[dekad]int64{at("2025-01-01"): 9, at("2025-01-11"): 1, at("2025-03-01"): 10, at("2025-04-01"): 3})
	want := []span{{at("2025-01-01"), at("2025-01-11")}, {at("2025-03-01"), at("2025-03-01")}, {at("2025-04-01"), at("2025-04-01")}}
	if !slices.Equal(got, want) {
		t.Errorf("spans %v, want %v", got, want)
	}
	e := currentEngine(t, 1)
	for day, want := range map[string]any{"2024-12-31": nil, "2025-01-01": int64(0), "2025-01-20": int64(0), "2025-01-21": nil, "2025-03-10": int64(1), "2025-03-11": nil, "2025-04-02": int64(2), "2025-04-11": nil} {
		_, rows, err := e.Rows(t.Context(), "case", "SELECT "+partOf("TIMESTAMP '"+day+" 23:59:59.999999'", got))
		if err != nil || rows[0][0] != want {
			t.Errorf("%s lies in part %v (%v), want %v", day, rows, err, want)
		}
	}
	for _, f := range slices.Concat(timedFeeds()...) {
		if !slices.ContainsFunc(f.Columns, func(c contract.Column) bool { return c.Name == f.instant && c.Required }) || !slices.Contains(f.Key, f.instant) {
			t.Errorf("%s: %s is no required column of its key", f.source, f.instant)
		}
	}
}
