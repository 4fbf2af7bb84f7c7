package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/ingest"
	"thawline/internal/invent"
	"thawline/internal/store"
)

// fileLimit names how many bytes a file of the program may have.
const fileLimit = "THAWLINE_FILE_LIMIT"

// limitFiles keeps the program's files to a size, where the environment says so:
// a write beyond it fails as on a full disk, and goes on failing.
func limitFiles() {
	bytes, err := strconv.ParseUint(os.Getenv(fileLimit), 10, 64)
	if err != nil {
		return
	}
	signal.Ignore(syscall.SIGXFSZ)
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: bytes, Max: bytes}); err != nil {
		panic(err)
	}
}

// failed runs the program, which must fail with exit code 1, and returns what it said.
func failed(t *testing.T, cmd *exec.Cmd, said *bytes.Buffer) string {
	t.Helper()
	err := cmd.Run()
	if code := cmd.ProcessState.ExitCode(); err == nil || exitCode(code) != exitFailed {
		t.Errorf("%s: exit %d (%v), want %d\n%s", strings.Join(cmd.Args[1:], " "), code, err, exitFailed, said)
	}
	return said.String()
}

// TestFullDisk: where files cannot be written to their end, each verb says so
// with the next step and leaves the store as it was; with room again it goes on.
func TestFullDisk(t *testing.T) {
	dir := killHospital(t, invent.Options{Months: 1, Labs: 2_000})
	live := filepath.Join(dir, "store")
	for _, args := range verbsOf(dir) {
		for _, limit := range []int{100, 10_000} {
			before := tree(t, live)
			cmd, said := program(args...)
			cmd.Env = append(cmd.Env, fmt.Sprintf("%s=%d", fileLimit, limit))
			text := failed(t, cmd, said)
			if !strings.Contains(text, "Next: ") || !strings.Contains(text, "file too large") {
				t.Errorf("%s with files of %d bytes says no next step:\n%s", args[0], limit, text)
			}
			whole(t, live)
			// What a run that failed left over, the next one that writes clears away.
			reopen(t, live)
			after := tree(t, live)
			if args[0] == "ingest" {
				continue // Small files are taken, each whole; the rest are not.
			}
			if diff := cmp.Diff(before, after); diff != "" {
				t.Errorf("%s with files of %d bytes changed the store:\n%s", args[0], limit, diff)
			}
		}
		finish(t, args...)
	}
	starved := tree(t, live)
	fresh := killHospital(t, invent.Options{Months: 1, Labs: 2_000})
	for _, args := range verbsOf(fresh) {
		finish(t, args...)
	}
	if diff := cmp.Diff(tree(t, filepath.Join(fresh, "store")), starved); diff != "" {
		t.Errorf("a store that once had no room differs (- always room, + once none):\n%s", diff)
	}
}

// reopen opens a store for writing and closes it.
func reopen(t *testing.T, dir string) {
	t.Helper()
	st, err := store.Open(dir, true)
	if err != nil {
		t.Fatal(err)
	}
	st.Close()
}

// TestFullDiskOfItsOwn does the same on a small file system, where the machine
// lets a test have one.
func TestFullDiskOfItsOwn(t *testing.T) {
	dir := killHospital(t, invent.Options{Months: 1, Labs: 2_000})
	live := filepath.Join(dir, "store")
	if err := syscall.Mount("tmpfs", live, "tmpfs", 0, "size=200k"); err != nil {
		t.Skipf("no file system of its own: %v", err)
	}
	t.Cleanup(func() { syscall.Unmount(live, syscall.MNT_DETACH) })
	text := ""
	for _, args := range verbsOf(dir) {
		cmd, said := program(args...)
		if cmd.Run() != nil {
			text = said.String()
			break
		}
	}
	if !strings.Contains(text, "no space left on device") || !strings.Contains(text, "Next: free space") {
		t.Errorf("the error says no next step:\n%s", text)
	}
	whole(t, live)
	if err := syscall.Mount("tmpfs", live, "tmpfs", syscall.MS_REMOUNT, "size=200m"); err != nil {
		t.Fatal(err)
	}
	for _, args := range verbsOf(dir) {
		finish(t, args...)
	}
}

// TestReadOnlyStore: a store that may not be written is said, with the next
// step, and can still be asked.
func TestReadOnlyStore(t *testing.T) {
	dir := killHospital(t, invent.Options{Months: 1, Labs: 2_000})
	verbs := verbsOf(dir)
	finish(t, verbs[0]...)
	before := tree(t, filepath.Join(dir, "store"))
	// Nobody may read a test's folders as they are; root may write anything.
	run := func(args ...string) (*exec.Cmd, *bytes.Buffer) {
		cmd, said := program(args...)
		if os.Getuid() == 0 {
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		}
		return cmd, said
	}
	for at := dir; at != filepath.Dir(at) && at != os.TempDir(); at = filepath.Dir(at) {
		if err := os.Chmod(at, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := exec.Command("chmod", "-R", "a+rX,a-w", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Cleanup(func() { exec.Command("chmod", "-R", "u+rwX", dir).Run() })
	if cmd, said := run("--version"); cmd.Run() != nil {
		t.Skipf("nobody may run the test binary here: %s", said)
	}
	for _, args := range verbs {
		cmd, said := run(args...)
		if text := failed(t, cmd, said); !strings.Contains(text, "permission denied") || !strings.Contains(text, "Next: ") || !strings.Contains(text, "store") {
			t.Errorf("%s says no next step:\n%s", args[0], text)
		}
	}
	cmd, said := run("query", "--site", filepath.Join(dir, "site.yaml"), "SELECT count(*) AS n FROM issues")
	if err := cmd.Run(); err != nil {
		t.Errorf("a store that may only be read cannot be asked: %v\n%s", err, said)
	}
	if diff := cmp.Diff(before, tree(t, filepath.Join(dir, "store"))); diff != "" {
		t.Errorf("the store changed:\n%s", diff)
	}
}

// TestFileThatChangesWhileItIsRead: an export that somebody still writes, or
// takes away, is no reading; the next run takes it as it is then.
func TestFileThatChangesWhileItIsRead(t *testing.T) {
	rows := strings.Repeat("SECRET1,INR,2.1,10/03/2025 09:00\n", 600_000) // over one segment
	for name, change := range map[string]func(path string) error{
		"grows":    func(path string) error { return appendTo(path, "SECRET2,INR,2.1,10/03/2025 09:00\n") },
		"is cut":   func(path string) error { return os.Truncate(path, 100) },
		"vanishes": os.Remove,
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			labs := filepath.Join(dir, "labs1.csv")
			for file, text := range map[string]string{"site.yaml": goodSite, "policy.yaml": "{}\n", "issues1.csv": goodIssues, "labs1.csv": goodLabs + rows} {
				if err := os.WriteFile(filepath.Join(dir, file), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			hospital, st := openSite(t, filepath.Join(dir, "site.yaml"), true)
			defer st.Close()
			told := 0
			report, err := ingest.Run(context.Background(), hospital, st, func(name string, done, total int64) {
				if name != "labs1.csv" {
					return
				}
				// First it is told that it begins, then that a part of it is read.
				if told++; told == 2 {
					if err := change(labs); err != nil {
						t.Error(err)
					}
				}
			})
			if err == nil || !strings.Contains(err.Error(), "labs1.csv") || strings.Contains(err.Error(), "SECRET") {
				t.Errorf("error %v, want one that names labs1.csv", err)
			}
			if len(st.Readings()) != 1 || len(report.Files) != 1 || report.Files[0].File != "issues1.csv" {
				t.Errorf("%d readings, want that of the issues alone", len(st.Readings()))
			}
		})
	}
}

func appendTo(path, text string) error {
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = f.WriteString(text)
	return err
}
