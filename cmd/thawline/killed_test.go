package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/invent"
	"thawline/internal/store"
)

// program is a process of the program with these arguments: the test binary
// under the program's name, so that it can be killed, starved or left without
// rights.
func program(args ...string) (*exec.Cmd, *bytes.Buffer) {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	var said bytes.Buffer
	cmd := exec.Command(self, args...)
	cmd.Args[0], cmd.Env = "thawline", os.Environ()
	cmd.Stdout, cmd.Stderr = &said, &said
	return cmd, &said
}

// finish runs the program to its end; falling short of a limit is no failure.
func finish(t *testing.T, args ...string) {
	t.Helper()
	cmd, said := program(args...)
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exitCode(exit.ExitCode()) != exitIncomplete) {
		t.Fatalf("thawline %s: %v\n%s", strings.Join(args, " "), err, said)
	}
}

// tree lists every file and folder below root, with the hash of each file. The
// lock alone is left out: it bears the number of the last process.
func tree(t *testing.T, root string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(root, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || name == root || entry.Name() == "lock" {
			return err
		}
		relative, _ := filepath.Rel(root, name)
		if entry.IsDir() {
			all[relative+"/"] = "folder"
			return nil
		}
		text, err := os.ReadFile(name)
		all[relative] = store.SHA256(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// whole opens a store for reading, as it was left, and holds every file that its
// manifest names against its hash. A store that was killed before it had a
// manifest is none yet.
func whole(t *testing.T, dir string) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(dir, "manifest.json")); errors.Is(err, fs.ErrNotExist) {
		return
	}
	st, err := store.Open(dir, false)
	if err != nil {
		t.Errorf("a reader cannot open what was left: %v", err)
		return
	}
	defer st.Close()
	var files []store.File
	for _, r := range st.Readings() {
		files = append(files, r.Files...)
	}
	for _, layer := range append(st.Packs(), "current", "audit") {
		files = append(files, st.Layer(layer)...)
	}
	for _, f := range files {
		text, err := os.ReadFile(f.Path)
		if err != nil || store.SHA256(text) != f.SHA256 {
			t.Errorf("%s is not the file that the manifest names (%v)", f.Path, err)
		}
	}
}

func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	if err := os.RemoveAll(to); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cp", "-a", from, to).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
}

// killHospital invents exports and returns their folder and a store with a key
// alone, so that what is made with the key is the same each time.
func killHospital(t *testing.T, o invent.Options) (dir string) {
	t.Helper()
	dir = t.TempDir()
	if _, err := invent.Write(dir, 1, o); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(dir, "store"), 0o750); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "store", "key"), bytes.Repeat([]byte("k"), 32), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// verbsOf are the verbs that write the store, in the order of the work.
func verbsOf(dir string) [][]string {
	site := filepath.Join(dir, "site.yaml")
	return [][]string{
		{"ingest", "--site", site},
		{"mark", "--site", site},
		{"report", "--site", site, "--period", demoMonth, "--today", "2026-11-05"},
	}
}

// TestKilled kills the program at random instants of each verb that writes, and
// runs it again: the store, the pack included, is byte for byte that of a
// program that nobody killed, and in between a reader finds it whole.
// THAWLINE_KILLS (make test-kill: 200, over all of the demo's exports) says how
// often ingest is; without it a few times, over a small hospital.
func TestKilled(t *testing.T) {
	kills, o := 6, invent.Options{Months: 1, Labs: 2_000}
	if text := os.Getenv("THAWLINE_KILLS"); text != "" {
		var err error
		if kills, err = strconv.Atoi(text); err != nil {
			t.Fatal(err)
		}
		o = invent.Options{}
	}
	dir := killHospital(t, o)
	live := filepath.Join(dir, "store")
	seed := time.Now().UnixNano()
	random := rand.New(rand.NewSource(seed))
	t.Logf("seed %d", seed)
	// Most of the work is ingest's; mark and report are killed a quarter as often.
	verbs := verbsOf(dir)
	quota := []int{kills, (kills + 3) / 4, (kills + 3) / 4}
	for i, args := range verbs {
		before := filepath.Join(dir, fmt.Sprint("before-", args[0]))
		copyFolder(t, live, before)
		began := time.Now()
		finish(t, args...)
		took := time.Since(began)
		want := tree(t, live)
		killed, completed, early := 0, 0, 0
		for killed < quota[i] {
			if early > 2*quota[i]+20 {
				t.Fatalf("%s: of %d processes %d ended before they were killed", args[0], killed+early, early)
			}
			copyFolder(t, before, live)
			// Now and then it is killed again before it may finish.
			for again := true; again && killed < quota[i]; again = random.Intn(3) == 0 {
				cmd, _ := program(args...)
				if err := cmd.Start(); err != nil {
					t.Fatal(err)
				}
				time.Sleep(time.Duration(random.Int63n(int64(took))))
				cmd.Process.Kill()
				cmd.Wait()
				if cmd.ProcessState.Exited() {
					early++
				} else if killed++; killed%20 == 0 {
					fmt.Printf("%s: killed %d of %d times, %s\n", args[0], killed, quota[i], time.Since(began).Round(time.Second))
				}
				whole(t, live)
			}
			finish(t, args...)
			completed++
			if diff := cmp.Diff(want, tree(t, live)); diff != "" {
				t.Fatalf("%s, killed and run again, left another store (- never killed, + killed):\n%s", args[0], diff)
			}
		}
		t.Logf("%s (%s): killed %d times, run to its end %d times; %d had ended before", args[0], took.Round(time.Millisecond), killed, completed, early)
	}
}
