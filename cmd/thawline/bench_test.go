//go:build bench

package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/ingest"
	"thawline/internal/invent"
	"thawline/internal/site"
	"thawline/internal/store"
)

// TestBench times the program on an invented store, each step as a process of
// its own, and prints a line a step: wall seconds, processor seconds, peak
// resident memory. make bench runs it; it holds no bar of its own, because
// shared machines wander. The sizes come from the environment:
// THAWLINE_BENCH_LABS lab rows, THAWLINE_BENCH_SCALE times the demo's episodes,
// THAWLINE_BENCH_BEDS beds, by which units other than plasma are counted. With
// 20000000, 54 and 2800 it is the hospital of the bars: 20 million results,
// 200,000 plasma units and 2 million others. THAWLINE_BENCH_PART=labs times the
// reading of the lab exports alone, pack the pack of ten years, messages the
// reading of HL7 and FHIR (TestBenchMessages);
// THAWLINE_BENCH_DIR keeps the exports there.
func TestBench(t *testing.T) {
	part := os.Getenv("THAWLINE_BENCH_PART")
	switch part {
	case "pack":
		tenYears(t, built(t))
		return
	case "messages", "update":
		t.Skip("only the part " + part + " is wanted")
	}
	labs := number(t, "THAWLINE_BENCH_LABS", 2_000_000)
	scale := number(t, "THAWLINE_BENCH_SCALE", 8)
	beds := number(t, "THAWLINE_BENCH_BEDS", 0)
	program := built(t)
	dir := t.TempDir()
	if kept := os.Getenv("THAWLINE_BENCH_DIR"); kept != "" {
		dir = kept
	}
	site := filepath.Join(dir, "site.yaml")
	if _, err := os.Stat(site); err != nil {
		if _, err := invent.Write(dir, 1, invent.Options{Scale: scale, Labs: int64(labs), Beds: beds}); err != nil {
			t.Fatal(err)
		}
	}
	files, _ := filepath.Glob(filepath.Join(dir, "inbox", "results_*.csv"))
	var bytes int64
	for _, f := range files {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		bytes += info.Size()
	}
	fmt.Printf("lab exports: %d files, %.0f MB\n", len(files), float64(bytes)/1e6)
	var copies, readings []float64
	var peak int
	for round := range 3 {
		copies = append(copies, engineCopy(t, filepath.Join(dir, "inbox", "results_*.csv"), filepath.Join(t.TempDir(), "copy.parquet"), round))
		seconds, kib := labsAlone(t, site, round)
		readings, peak = append(readings, seconds), max(peak, kib)
	}
	slices.Sort(copies)
	slices.Sort(readings)
	fmt.Printf("ratio of medians %.2f: lab exports to readings %.2f s, the engine's copy %.2f s; at most %d MiB resident\n", readings[1]/copies[1], readings[1], copies[1], peak>>10)
	if part == "labs" {
		return
	}
	os.RemoveAll(filepath.Join(dir, "store"))
	held := holdBack(t, dir)
	timed(t, "ingest of all months but one, with current", program, "ingest", "--site", site)
	held()
	timed(t, "ingest of one more month, with current", program, "ingest", "--site", site)
	timed(t, "ingest again, nothing new", program, "ingest", "--site", site)
	timed(t, "mark", program, "mark", "--site", site)
	timed(t, "pack of a month", program, "report", "--site", site, "--period", demoMonth)
	timed(t, "pack of two years", program, "report", "--site", site, "--period", "2024-11..2026-10")
	tenYears(t, program)
}

// built is the program that make build has left.
func built(t *testing.T) string {
	program, err := filepath.Abs("../../bin/thawline")
	if err != nil {
		t.Fatal(err)
	}
	return program
}

// tenYears times the pack of ten years of the demonstration's hospital.
func tenYears(t *testing.T, program string) {
	dir := t.TempDir()
	if _, err := invent.Write(dir, 1, invent.Options{Months: 120}); err != nil {
		t.Fatal(err)
	}
	site := filepath.Join(dir, "site.yaml")
	timed(t, "ingest of ten years", program, "ingest", "--site", site)
	timed(t, "mark of ten years", program, "mark", "--site", site)
	for range 3 {
		timed(t, "pack of ten years", program, "report", "--site", site, "--period", "2016-11..2026-10")
	}
	page, err := os.Stat(filepath.Join(dir, "store", "packs", "2016-11..2026-10", "committee.html"))
	if err != nil {
		t.Fatal(err)
	}
	fmt.Printf("committee.html of ten years: %.2f MB\n", float64(page.Size())/1e6)
}

// holdBack takes the last month's exports out of the inbox, and gives back what
// puts them there again.
func holdBack(t *testing.T, dir string) func() {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "inbox", "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d exports, %v", len(files), err)
	}
	day := func(file string) string {
		name := strings.TrimSuffix(filepath.Base(file), ".csv")
		return name[strings.LastIndex(name, "_")+1:]
	}
	last := day(slices.MaxFunc(files, func(a, b string) int { return strings.Compare(day(a), day(b)) }))
	aside := filepath.Join(dir, "held_back")
	if err := os.MkdirAll(aside, 0o750); err != nil {
		t.Fatal(err)
	}
	move := func(from, to string) {
		for _, f := range files {
			if day(f) == last {
				if err := os.Rename(filepath.Join(from, filepath.Base(f)), filepath.Join(to, filepath.Base(f))); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	move(filepath.Join(dir, "inbox"), aside)
	return func() { move(aside, filepath.Join(dir, "inbox")) }
}

// labsAlone times what the engine's copy is held against: reading the lab
// exports into stored readings, every check of the contract included. It says
// how many seconds it took and the peak of the resident memory in KiB.
func labsAlone(t *testing.T, file string, round int) (seconds float64, kib int) {
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	s.Feeds = slices.DeleteFunc(s.Feeds, func(f site.Feed) bool { return f.Table != contract.Labs })
	dir := t.TempDir()
	defer os.RemoveAll(dir)
	st, err := store.Open(filepath.Join(dir, "store"), true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	// What the engine's copy left is given back, and the high-water mark with it.
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0)
	began := time.Now()
	report, err := ingest.Run(context.Background(), s, st, nil)
	if err != nil {
		t.Fatal(err)
	}
	seconds = time.Since(began).Seconds()
	var rows int64
	for _, f := range report.Files {
		rows += f.Read
	}
	kib = highWater("/proc/self/status")
	fmt.Printf("%-40s %7.2f s wall, %d rows, %.0f rows/s, %d MiB (round %d)\n", "lab exports to readings", seconds, rows, float64(rows)/seconds, kib>>10, round+1)
	return seconds, kib
}

// highWater reads the peak of a process's resident memory in KiB.
func highWater(status string) (kib int) {
	text, err := os.ReadFile(status)
	if err == nil {
		if _, rest, found := strings.Cut(string(text), "VmHWM:"); found {
			fmt.Sscan(rest, &kib)
		}
	}
	return kib
}

// engineCopy is what ingest is held against: the engine's own CSV to Parquet
// copy of the same lab files, without any check; the rows that the generator
// damaged are left out.
func engineCopy(t *testing.T, from, to string, round int) float64 {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{MemoryMB: 1024, TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	began := time.Now()
	err = e.Exec(ctx, "copy", fmt.Sprintf("COPY (SELECT * FROM read_csv(%s, ignore_errors = true)) TO %s (FORMAT parquet, COMPRESSION zstd)", engine.Quote(from), engine.Quote(to)))
	if err != nil {
		t.Fatal(err)
	}
	seconds := time.Since(began).Seconds()
	fmt.Printf("%-40s %7.2f s wall (round %d)\n", "the engine's own copy of the lab files", seconds, round+1)
	return seconds
}

func timed(t *testing.T, name, program string, args ...string) {
	c := exec.Command(program, args...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	began := time.Now()
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- c.Wait() }()
	var peak int
	var err error
	for running := true; running; {
		// The kernel's own maximum of a child counts its parent's memory too:
		// the high-water mark of the process is read while it runs.
		peak = max(peak, highWater(fmt.Sprintf("/proc/%d/status", c.Process.Pid)))
		select {
		case err = <-done:
			running = false
		case <-time.After(20 * time.Millisecond):
		}
	}
	wall := time.Since(began)
	if err != nil && c.ProcessState.ExitCode() != int(exitIncomplete) {
		t.Fatalf("%s: %v\n%s", name, err, said.String())
	}
	fmt.Printf("%-40s %7.2f s wall %7.2f s processor %6d MiB\n", name, wall.Seconds(),
		(c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds(), peak/1024)
	for _, line := range strings.Split(said.String(), "\n") {
		if strings.Contains(line, "episodes =") || strings.HasPrefix(line, "current labs") || strings.HasPrefix(line, "current issues") {
			fmt.Println("    " + line)
		}
	}
}

func number(t *testing.T, name string, otherwise int) int {
	text := os.Getenv(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("%s=%q is not a whole number", name, text)
	}
	return n
}
