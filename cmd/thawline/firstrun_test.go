package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
)

// playOther lets the test binary stand in for the program, and for the editor of
// the person who follows the README, when it is called by their names.
func playOther() bool {
	switch filepath.Base(os.Args[0]) {
	case "thawline":
		limitFiles()
		main()
	case "editor":
		if err := edit(os.Args[len(os.Args)-1], os.Getenv("EDITS")); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	default:
		return false
	}
	return true
}

// edit changes the file at path as edits says: see testdata/firstrun/edits.diff.
func edit(path, edits string) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	changes, err := os.ReadFile(edits)
	if err != nil {
		return err
	}
	lines := strings.Split(string(text), "\n")
	at := -1
	for _, change := range strings.Split(string(changes), "\n") {
		switch {
		case strings.HasPrefix(change, "-"):
			at = -1
			for i, line := range lines {
				if bare(line) == change[1:] {
					if at >= 0 {
						return fmt.Errorf("%s: two lines are %q", path, change[1:])
					}
					at = i
				}
			}
			if at < 0 {
				return fmt.Errorf("%s: no line is %q in\n%s", path, change[1:], text)
			}
			lines = append(lines[:at], lines[at+1:]...)
		case strings.HasPrefix(change, "+") && at >= 0:
			lines = append(lines[:at], append([]string{change[1:]}, lines[at:]...)...)
			at++
		}
	}
	return os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o600)
}

// bare is a line of site.yaml without the note at its end.
func bare(line string) string {
	if at := strings.LastIndex(line, " # "); at >= 0 && strings.TrimSpace(line[:at]) != "" {
		line = line[:at]
	}
	return strings.TrimRight(line, " ")
}

// firstRun gives the commands of the README's first run, as they stand there.
func firstRun(t *testing.T) []string {
	t.Helper()
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(readme), "\n## First run on your own exports\n")
	section, _, _ = strings.Cut(section, "\n## ")
	block := regexp.MustCompile("(?s)```sh\n(.*?)```").FindStringSubmatch(section)
	if !found || block == nil {
		t.Fatal("README.md: no commands under First run on your own exports")
	}
	var commands []string
	for _, line := range strings.Split(block[1], "\n") {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			commands = append(commands, line)
		}
	}
	return commands
}

// TestFirstRun follows the README's first run, command by command, from a folder
// of exports that no map describes to a pack. The editing is what a person would
// do (testdata/firstrun/edits.diff).
func TestFirstRun(t *testing.T) {
	commands := firstRun(t)
	if len(commands) == 0 || len(commands) >= 10 {
		t.Fatalf("%d commands, wanted under ten: %q", len(commands), commands)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	edits, err := filepath.Abs("../../testdata/firstrun/edits.diff")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, name := range []string{"bin", "inbox"} {
		if err := os.Mkdir(filepath.Join(dir, name), 0o750); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"thawline", "editor"} {
		if err := os.Symlink(self, filepath.Join(dir, "bin", name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.CopyFS(filepath.Join(dir, "inbox"), os.DirFS("../../testdata/firstrun/inbox")); err != nil {
		t.Fatal(err)
	}
	persons := personsOf(t, filepath.Join(dir, "inbox"))
	for _, command := range commands {
		c := exec.Command("sh", "-c", command)
		c.Dir = dir
		c.Env = append(os.Environ(), "EDITOR="+filepath.Join(dir, "bin", "editor"), "EDITS="+edits)
		var said bytes.Buffer
		c.Stdout, c.Stderr = &said, &said
		if err := c.Run(); err != nil {
			t.Fatalf("%s: %v\n%s", command, err, said.String())
		}
		t.Logf("%s\n%s", command, said.String())
		if !strings.Contains(command, "inspect") {
			continue
		}
		if _, err := os.Stat(filepath.Join(dir, "store")); !os.IsNotExist(err) {
			t.Errorf("%s made a store", command)
		}
		if proposed, err := os.ReadFile(filepath.Join(dir, "site.yaml")); err == nil {
			said.Write(proposed)
		}
		for _, person := range persons {
			if strings.Contains(said.String(), person) {
				t.Errorf("%s shows what a cell says of a person", command)
				break
			}
		}
	}
	packs, err := filepath.Glob(filepath.Join(dir, "store", "packs", "*", "committee.html"))
	if err != nil || len(packs) != 1 {
		t.Fatalf("packs %v, error %v", packs, err)
	}
	page, err := os.ReadFile(packs[0])
	if err != nil || !bytes.Contains(page, []byte("Klinikum Lindenhain")) {
		t.Errorf("the pack does not bear the hospital's name (error %v)", err)
	}
	site := filepath.Join(dir, "site.yaml")
	// What the exports hold reached the marks: of 70 patients, each with plasma.
	for _, episode := range table(t, site, "SELECT count(DISTINCT patient_id) AS patients, count(*) FILTER (mark = 'undetermined') * 4 < count(*) AS most_judged, count(*) FILTER (dose_band <> 'not known') * 2 > count(*) AS most_weighed FROM episodes") {
		if episode["patients"] != "70" || episode["most_judged"] != "true" || episode["most_weighed"] != "true" {
			t.Errorf("episodes: %v", episode)
		}
	}
	for _, lab := range table(t, site, "SELECT count(DISTINCT test) AS tests, count(*) FILTER (test = 'fibrinogen' AND value BETWEEN 1 AND 4) AS fibrinogens, count(*) FILTER (value IS NULL) AS empty FROM labs WHERE derived_from IS NULL") {
		if lab["tests"] != "5" || lab["fibrinogens"] != "140" || lab["empty"] != "0" {
			t.Errorf("labs: %v", lab)
		}
	}
}

// personsOf lists the numbers and names of patients, and the numbers of units,
// in the exports of the first run.
func personsOf(t *testing.T, inbox string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(inbox, "Ausgabe_*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("files %v, error %v", files, err)
	}
	var all []string
	for _, file := range files {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		text, err := charmap.Windows1252.NewDecoder().Bytes(content)
		if err != nil {
			t.Fatal(err)
		}
		r := csv.NewReader(bytes.NewReader(text))
		r.Comma = ';'
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows[1:] {
			all = append(all, row[0], row[4], row[5])
		}
	}
	return all
}
