//go:build bench

package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"runtime/pprof"
	"syscall"
	"testing"
	"time"

	"thawline/internal/ingest"
	"thawline/internal/site"
	"thawline/internal/store"
)

// TestBenchMessages times the reading of results from one file of HL7 messages
// and from one of FHIR resources into stored readings, and prints rows a second
// and the peak of the resident memory: for a quarter of the results and for all,
// since memory must not grow with the file. THAWLINE_BENCH_RESULTS says how many
// (1000000), THAWLINE_BENCH_PROFILE names a folder for profiles of the processor.
func TestBenchMessages(t *testing.T) {
	if part := os.Getenv("THAWLINE_BENCH_PART"); part != "" && part != "messages" {
		t.Skip("only the part " + part + " is wanted")
	}
	results := number(t, "THAWLINE_BENCH_RESULTS", 1_000_000)
	for _, kind := range []struct {
		name  string
		write func(*bufio.Writer, int)
	}{{"hl7", writeHL7Result}, {"fhir", writeFHIRResult}} {
		for _, n := range []int{results / 4, results} {
			benchMessages(t, kind.name, n, kind.write)
		}
	}
}

func benchMessages(t *testing.T, kind string, results int, write func(*bufio.Writer, int)) {
	dir := t.TempDir()
	f, err := os.Create(filepath.Join(dir, "results"))
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	for i := range results {
		write(w, i)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	f.Close()
	text := "hospital: Bench (invented)\ntime_zone: Europe/Dublin\nstore: store\nproducts:\n  F: {component: plasma, product: fresh_frozen, nominal_ml: 275}\n" +
		"feeds:\n  - {table: issues, files: none.csv}\n  - {table: labs, files: results, test: {INR: inr, FIBC: fibrinogen, HB: hb}, ignore: rest}\n"
	if err := os.WriteFile(filepath.Join(dir, "site.yaml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := site.Load(filepath.Join(dir, "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s.Feeds = s.Feeds[1:]
	st, err := store.Open(filepath.Join(dir, "store"), true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if folder := os.Getenv("THAWLINE_BENCH_PROFILE"); folder != "" {
		profile, err := os.Create(filepath.Join(folder, fmt.Sprintf("%s-%d.prof", kind, results)))
		if err != nil {
			t.Fatal(err)
		}
		defer profile.Close()
		if err := pprof.StartCPUProfile(profile); err != nil {
			t.Fatal(err)
		}
		defer pprof.StopCPUProfile()
	}
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	began, busy := time.Now(), processor(t)
	report, err := ingest.Run(context.Background(), s, st, nil)
	if err != nil {
		t.Fatal(err)
	}
	wall, cpu := time.Since(began).Seconds(), processor(t)-busy
	runtime.ReadMemStats(&after)
	if len(report.Files) != 1 || report.Files[0].Read != int64(results) || report.Files[0].Rejected != 0 {
		t.Fatalf("%s: %+v, want %d results", kind, report.Files, results)
	}
	fmt.Printf("%-40s %7.2f s wall %7.2f s processor, %d results of %.0f MB, %.0f results/s, %d MiB, %d allocations a result\n", kind+" to readings", wall, cpu, results,
		float64(info.Size())/1e6, float64(results)/wall, highWater("/proc/self/status")>>10, (after.Mallocs-before.Mallocs)/uint64(results))
}

// benchTests are the tests of which results are written, the last in no map.
var benchTests = []struct{ code, name, unit string }{
	{"INR", "INR of plasma", "{INR}"}, {"FIBC", "Fibrinogen by clotting", "g/L"}, {"HB", "Haemoglobin", "g/L"}, {"NA", "Sodium", "mmol/L"},
}

// benchResult gives the number, the patient, the value and the times of a result.
func benchResult(i int) (patient int, value string, collected time.Time) {
	order := i / len(benchTests)
	values := []string{fmt.Sprintf("1.%d", order%10), fmt.Sprintf("2.%d", order%10), fmt.Sprint(80 + order%60), "140"}
	return order * 7919 % 100_000, values[i%len(benchTests)], time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(order) * 2 * time.Minute)
}

// writeHL7Result writes one OBX, and before the first of an order its message.
func writeHL7Result(w *bufio.Writer, i int) {
	patient, value, at := benchResult(i)
	of := benchTests[i%len(benchTests)]
	if i%len(benchTests) == 0 {
		fmt.Fprintf(w, "MSH|^~\\&|LIS|TARN|AUDIT|TARN|%s+0000||ORU^R01^ORU_R01|%d|P|2.5.1\rPID|1||P%06d^^^TARN^MR||NAME^INVENTED||19500102|F\rPV1|1|I|WARD3^4^1^TARN\rORC|RE|O%d\rOBR|1|O%d||COAG^Coagulation^L|||%s\r",
			at.Format("20060102150405"), i, patient, i, i, at.Format("200601021504"))
	}
	fmt.Fprintf(w, "OBX|%d|NM|%s^%s^L||%s|%s^^UCUM|0-10||||F|||%s||||||%s\r", i%len(benchTests)+1, of.code, of.name, value, of.unit, at.Format("200601021504"), at.Add(40*time.Minute).Format("200601021504"))
}

// writeFHIRResult writes one Observation.
func writeFHIRResult(w *bufio.Writer, i int) {
	patient, value, at := benchResult(i)
	of := benchTests[i%len(benchTests)]
	fmt.Fprintf(w, `{"resourceType":"Observation","id":"o%d","meta":{"versionId":"1","lastUpdated":"%s"},"status":"final","category":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category","code":"laboratory"}]}],`+
		`"code":{"coding":[{"system":"http://tarn.example.org/tests","code":"%s","display":"%s"}]},"subject":{"reference":"Patient/p%06d"},"effectiveDateTime":"%s","issued":"%s",`+
		`"valueQuantity":{"value":%s,"unit":"%s","system":"http://unitsofmeasure.org","code":"%s"},"referenceRange":[{"text":"0-10"}]}`+"\n",
		i, at.Format(time.RFC3339), of.code, of.name, patient, at.Format(time.RFC3339), at.Add(40*time.Minute).Format(time.RFC3339), value, of.unit, of.unit)
}

// processor gives the seconds of processor that this process has used.
func processor(t *testing.T) float64 {
	t.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return float64(used.Utime.Nano()+used.Stime.Nano()) / 1e9
}
