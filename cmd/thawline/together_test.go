package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/invent"
)

// TestTwoAtOnce runs several real processes on one store at the same time:
// writers and readers. Each either does its work or says who has the store; what
// is left is byte for byte the store of one process alone.
func TestTwoAtOnce(t *testing.T) {
	dir := killHospital(t, invent.Options{Months: 1, Labs: 20_000})
	live, alone := filepath.Join(dir, "store"), filepath.Join(dir, "alone")
	copyFolder(t, live, alone)
	ingest := verbsOf(dir)[0]
	finish(t, ingest...)
	want := tree(t, live)
	for round := range 3 {
		copyFolder(t, alone, live)
		lines := [][]string{ingest, ingest, {"status", "--site", filepath.Join(dir, "site.yaml")}, ingest}
		said := make([]*bytes.Buffer, len(lines))
		processes := make([]*exec.Cmd, len(lines))
		for i, args := range lines {
			processes[i], said[i] = program(args...)
			if err := processes[i].Start(); err != nil {
				t.Fatal(err)
			}
		}
		done := 0
		for i, p := range processes {
			err := p.Wait()
			var exit *exec.ExitError
			switch code := exitCode(p.ProcessState.ExitCode()); {
			case err != nil && !errors.As(err, &exit):
				t.Fatal(err)
			case code == exitDone || code == exitIncomplete:
				done++
			case code == exitFailed && (strings.Contains(said[i].String(), "in use by") || lines[i][0] == "status" && strings.Contains(said[i].String(), "store")):
			default:
				t.Errorf("round %d: thawline %s: exit code %d\n%s", round, lines[i][0], code, said[i])
			}
		}
		if done == 0 {
			t.Errorf("round %d: none of %d processes did its work", round, len(lines))
		}
		whole(t, live)
		if diff := cmp.Diff(want, tree(t, live)); diff != "" {
			t.Errorf("round %d: several processes left another store than one (- one, + several):\n%s", round, diff)
		}
	}
	if _, err := os.Stat(filepath.Join(live, "manifest.json")); err != nil {
		t.Error(err)
	}
}
