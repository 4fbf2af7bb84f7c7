package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/status"
)

// snapshot gives the files under dir with their sizes and times of change.
func snapshot(t *testing.T, dir string) map[string]string {
	t.Helper()
	found := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			found[path] = info.ModTime().String() + " " + info.Mode().String()
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// TestInspectSiteTellsWhatIngestWould: over the invented hospital a trial finds
// the problems that stand in the store after ingest, and touches no file.
func TestInspectSiteTellsWhatIngestWould(t *testing.T) {
	hospital := demoSite(t)
	before := snapshot(t, filepath.Dir(hospital))
	var tried trial
	if err := json.Unmarshal([]byte(ask(t, "inspect", "--site", hospital, "--json")), &tried); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, snapshot(t, filepath.Dir(hospital))); diff != "" {
		t.Errorf("inspect --site changed files:\n%s", diff)
	}
	var stored []status.Problem
	if err := json.Unmarshal([]byte(ask(t, "problems", "--site", hospital, "--format", "json")), &stored); err != nil {
		t.Fatal(err)
	}
	if len(stored) == 0 {
		t.Fatal("no problems in the store: nothing is compared")
	}
	if diff := cmp.Diff(stored, tried.Problems); diff != "" {
		t.Errorf("problems in the store and in the trial:\n%s", diff)
	}
	read := int64(0)
	for _, f := range tried.Files {
		if read += f.Read; f.Read != f.Accepted+f.Rejected+f.SetAside {
			t.Errorf("%+v does not add up", f)
		}
	}
	if read == 0 {
		t.Error("nothing was read")
	}
}

// TestInspectWantsOneThing: without exports or a site there is nothing to do.
func TestInspectWantsOneThing(t *testing.T) {
	for _, args := range [][]string{{"inspect"}, {"inspect", "--site", "site.yaml", "a.csv"}, {"inspect", "--site", "none.yaml"}} {
		var out, errOut bytes.Buffer
		if code := run(context.Background(), args, &out, &errOut); code != exitWrong || out.Len() > 0 {
			t.Errorf("%s: exit %d, said %s", strings.Join(args, " "), code, errOut.String())
		}
	}
	var out, errOut bytes.Buffer
	if code := run(context.Background(), []string{"inspect", t.TempDir()}, &out, &errOut); code != exitFailed || !strings.Contains(errOut.String(), "found a folder") {
		t.Errorf("a folder: exit %d, said %s", code, errOut.String())
	}
}
