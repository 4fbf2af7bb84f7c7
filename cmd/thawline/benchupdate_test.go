//go:build bench

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/ingest"
	"thawline/internal/invent"
	"thawline/internal/site"
	"thawline/internal/store"
)

// TestBenchUpdate times what a month's files cost a store of ten years: the
// reading of the files, and bringing current up to date, each a process of its
// own; then the same where the register and the merges come once a year.
// THAWLINE_BENCH_LABS, _SCALE and _BEDS say how large the hospital is: at first
// that of the bars, 20 million results, 200,000 plasma units and 2 million
// others. THAWLINE_BENCH_DIR keeps the exports and the stores without the last
// month there, for the next run; a bench that is stopped while it makes one
// leaves the folder to be removed.
func TestBenchUpdate(t *testing.T) {
	if part := os.Getenv("THAWLINE_BENCH_PART"); part != "update" {
		t.Skip("it takes a quarter of an hour: THAWLINE_BENCH_PART=update")
	}
	program := built(t)
	dir := t.TempDir()
	if kept := os.Getenv("THAWLINE_BENCH_DIR"); kept != "" {
		dir = kept
	}
	file := filepath.Join(dir, "site.yaml")
	if _, err := os.Stat(file); err != nil {
		options := invent.Options{Months: 120, Labs: int64(number(t, "THAWLINE_BENCH_LABS", 20_000_000)),
			Scale: number(t, "THAWLINE_BENCH_SCALE", 11), Beds: number(t, "THAWLINE_BENCH_BEDS", 2800)}
		if _, err := invent.Write(dir, 1, options); err != nil {
			t.Fatal(err)
		}
	}
	inStore := filepath.Join(dir, "store")
	for _, month := range []struct {
		base, says string
		yearly     []string
	}{
		{"base", "a month", nil},
		{"base_yearly", "a month with a year's register and merges", []string{"register", "merges"}},
	} {
		base := filepath.Join(dir, month.base)
		bring := holdBackLast(t, dir, month.yearly)
		if _, err := os.Stat(base); errors.Is(err, fs.ErrNotExist) {
			os.RemoveAll(inStore)
			timed(t, "ingest of ten years but "+month.says, program, "ingest", "--site", file)
			if err := os.Rename(inStore, base); err != nil {
				t.Fatal(err)
			}
		}
		bring()
		for range 3 {
			os.RemoveAll(inStore)
			linkTree(t, base, inStore)
			before, err := os.Stat(filepath.Join(base, "manifest.json"))
			if err != nil {
				t.Fatal(err)
			}
			t.Setenv("THAWLINE_BENCH_SITE", file)
			t.Setenv("THAWLINE_BENCH_STAGE", "read")
			timed(t, "reading of "+month.says, os.Args[0], "-test.run=TestBenchStage$")
			t.Setenv("THAWLINE_BENCH_STAGE", "current")
			timed(t, "current after "+month.says, os.Args[0], "-test.run=TestBenchStage$")
			if after, err := os.Stat(filepath.Join(base, "manifest.json")); err != nil || !os.SameFile(before, after) || after.ModTime() != before.ModTime() {
				t.Fatal("the store that is kept was written to: the rounds are not alike")
			}
		}
		saySizes(t, file, base)
	}
}

// TestBenchStage is one stage of ingest by itself, for TestBenchUpdate, which
// runs it as a process.
func TestBenchStage(t *testing.T) {
	stage := os.Getenv("THAWLINE_BENCH_STAGE")
	if stage == "" {
		t.Skip("it is run by TestBenchUpdate")
	}
	s, err := site.Load(os.Getenv("THAWLINE_BENCH_SITE"))
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(s.Store, true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	switch stage {
	case "read":
		_, err = ingest.Run(context.Background(), s, st, nil)
	case "current":
		_, err = audit.Current(context.Background(), st, s)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// holdBackLast takes the exports of the last day out of the inbox, and of the
// kinds that come yearly those of twelve months; it gives back what puts them
// there again.
func holdBackLast(t *testing.T, dir string, yearly []string) func() {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "inbox", "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d exports, %v", len(files), err)
	}
	parts := func(file string) (kind, day string) {
		kind, day, _ = strings.Cut(strings.TrimSuffix(filepath.Base(file), ".csv"), "_")
		return kind, day
	}
	var days []string
	for _, f := range files {
		_, day := parts(f)
		days = append(days, day)
	}
	slices.Sort(days)
	days = slices.Compact(days)
	aside := filepath.Join(dir, "held_back")
	if err := os.MkdirAll(aside, 0o750); err != nil {
		t.Fatal(err)
	}
	var held []string
	for _, f := range files {
		kind, day := parts(f)
		if from := days[len(days)-1]; day >= from || slices.Contains(yearly, kind) && day >= days[len(days)-12] {
			held = append(held, filepath.Base(f))
		}
	}
	move := func(from, to string) {
		for _, name := range held {
			if err := os.Rename(filepath.Join(from, name), filepath.Join(to, name)); err != nil {
				t.Fatal(err)
			}
		}
	}
	move(filepath.Join(dir, "inbox"), aside)
	return func() { move(aside, filepath.Join(dir, "inbox")) }
}

// linkTree copies a folder by hard links: the store replaces files, and writes
// into none but its lock.
func linkTree(t *testing.T, from, to string) {
	t.Helper()
	err := filepath.WalkDir(from, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		relative, err := filepath.Rel(from, path)
		switch {
		case err != nil || relative == "lock":
			return err
		case entry.IsDir():
			return os.MkdirAll(filepath.Join(to, relative), 0o750)
		}
		return os.Link(path, filepath.Join(to, relative))
	})
	if err != nil {
		t.Fatal(err)
	}
}

// saySizes prints how many rows came, how many the store holds, and how many
// current holds in files that were made anew: those of the years touched.
func saySizes(t *testing.T, file, base string) {
	s, err := site.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(s.Store, false)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	had, err := store.Open(base, false)
	if err != nil {
		t.Fatal(err)
	}
	defer had.Close()
	there := map[string]string{}
	for _, f := range had.Layer("current") {
		there[f.Name] = f.SHA256
	}
	came, held, touched, rows := map[string]int64{}, map[string]int64{}, map[string]int64{}, map[string]int64{}
	for _, r := range st.Readings() {
		held[r.Table] += r.Accepted
		if _, found := had.Reading(r.ID); !found {
			came[r.Table] += r.Accepted
		}
	}
	files, anew := 0, 0
	for _, f := range st.Layer("current") {
		table, _, _ := strings.Cut(f.Name, "/")
		rows[table] += f.Rows
		files++
		if there[f.Name] != f.SHA256 {
			touched[table] += f.Rows
			anew++
		}
	}
	fmt.Printf("    %d of %d files of current are others now\n", anew, files)
	for _, table := range contract.Feeds() {
		name := table.Name
		fmt.Printf("    %-10s %9d rows came, %9d stored; current: %9d rows, %9d in files that are others now\n", name, came[name], held[name], rows[name], touched[name])
	}
}
