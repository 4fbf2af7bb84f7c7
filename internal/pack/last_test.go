package pack

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/engine"
	"thawline/internal/store"
)

// TestMarksOfTheLastPack changes what the last pack said in a known number of
// episodes and looks for them in both pages.
func TestMarksOfTheLastPack(t *testing.T) {
	ctx := context.Background()
	in := fabricate(t, 900)
	in.judgedBy = "test"
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	in.from, in.to = "2026-08", "2026-08"
	if err := in.load(ctx, e); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	said, err := writeMarks(ctx, e, filepath.Join(dir, "said.parquet"))
	if err != nil {
		t.Fatal(err)
	}
	// 8 were said to be appropriate and are under-dosed now; 6 of the last month
	// were not known then; 5 have come to be part of another.
	altered := filepath.Join(dir, "altered.parquet")
	if err := e.Exec(ctx, "alter", fmt.Sprintf(`
CREATE TABLE said AS SELECT * FROM read_parquet(%s) ORDER BY episode_id;
CREATE TABLE numbered AS SELECT *, row_number() OVER (PARTITION BY mark ORDER BY episode_id) AS n FROM said;
COPY (
    SELECT period, episode_id, month, CASE WHEN mark = 'under-dosed' AND n <= 8 THEN 'appropriate' ELSE mark END AS mark, because, policy_hash FROM numbered
    WHERE episode_id NOT IN (SELECT episode_id FROM numbered WHERE month = '2026-08' ORDER BY episode_id LIMIT 6)
    UNION ALL SELECT '2026-08', 'joined' || i, '2026-08', 'wasted', '', 'abc' FROM range(5) AS k(i)
    ORDER BY episode_id
) TO %s (FORMAT parquet)`, engine.Quote(said.Path), engine.Quote(altered))); err != nil {
		t.Fatal(err)
	}
	in.from, in.to = "2026-09", "2026-09"
	in.last = &lastPack{Period: "2026-08", ReportDate: "2026-09-20", Marks: "00", files: []string{altered}, run: run{From: "2026-08", To: "2026-08", History: in.historyFrom, JudgedBy: "test"}}
	committee, cases, _ := made(t, in)
	of := said.Rows - 6 + 5
	if want := fmt.Sprintf("Since the pack of Aug 2026, 8 of %d episodes in it changed their mark; 6 came to light; 5 are no episodes of their own any more. cases.html lists each of them.", of); !strings.Contains(committee, want) {
		t.Errorf("the pack does not say %q", want)
	}
	for _, want := range []string{"<td>appropriate</td><td>under-dosed</td><td>records that came since</td><td class=\"n\">8</td>", "<td>wasted</td><td class=\"prose\">no episode of its own now</td><td>"} {
		if !strings.Contains(unlabelled(committee), want) {
			t.Errorf("the pack's table does not hold %q", want)
		}
	}
	_, list, _ := strings.Cut(cases, "Marks that changed since the last pack")
	list, _, _ = strings.Cut(list, "<h2>Episodes</h2>")
	if n := strings.Count(list, "<tr><td><code>"); n != 8+6+5 {
		t.Errorf("cases.html lists %d episodes, wanted 19", n)
	}
	// The same export by another map; that of an older program does not tell.
	in.last.run.Sources = []Source{{Table: "labs", File: "l.csv", SHA256: "11", Map: "one"}, {Table: "labs", File: "old.csv", SHA256: "22"}}
	in.sources = append(in.sources, Source{Table: "labs", File: "l.csv", SHA256: "11", Map: "one"}, Source{Table: "labs", File: "old.csv", SHA256: "22", Map: "one"})
	const otherMap = "another map in site.yaml, or records that came since"
	if committee, _, _ = made(t, in); strings.Contains(committee, otherMap) {
		t.Error("the pack says that maps differ from the last pack's, which do not")
	}
	in.sources[len(in.sources)-2].Map = "two"
	if committee, _, _ = made(t, in); !strings.Contains(committee, otherMap) {
		t.Error("the pack does not say that a map differs from the last pack's")
	}
	in.judgedBy = "another version"
	if committee, _, _ = made(t, in); !strings.Contains(committee, "another version of the program or decision table") {
		t.Error("the pack does not say that the program differs from the last pack's")
	}
}

func TestFirstPackComparesWithNothing(t *testing.T) {
	committee, cases, _ := made(t, fabricate(t, 30))
	if !strings.Contains(committee, "No earlier pack lies in the store") || !strings.Contains(cases, "No earlier pack lies in the store") {
		t.Error("a first pack does not say that there is none to compare with")
	}
}

func TestFindLast(t *testing.T) {
	ctx := context.Background()
	st, err := store.Open(filepath.Join(t.TempDir(), "store"), true)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	put := func(from, to string) {
		t.Helper()
		err := st.ReplaceLayer(ctx, "packs/"+periodName(from, to), func(dir string) ([]store.File, error) {
			var files []store.File
			for name, text := range map[string]string{marksName: "no Parquet", "run.json": fmt.Sprintf(`{"from": %q, "to": %q, "report_date": "2026-10-01"}`, from, to)} {
				path := filepath.Join(dir, name)
				if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
					return nil, err
				}
				f, err := store.Describe(path)
				if err != nil {
					return nil, err
				}
				files = append(files, f)
			}
			return files, nil
		}, store.LayerFacts{})
		if err != nil {
			t.Fatal(err)
		}
	}
	if last, err := findLast(st, "2026-10", "2026-10"); last != nil || err != nil {
		t.Errorf("an empty store has the last pack %v, %v", last, err)
	}
	for _, p := range [][2]string{{"2025-01", "2025-12"}, {"2026-04", "2026-06"}, {"2026-06", "2026-06"}, {"2026-07", "2026-07"}, {"2026-10", "2026-10"}, {"2026-11", "2026-11"}} {
		put(p[0], p[1])
	}
	for _, c := range []struct{ from, to, want string }{
		{"2026-10", "2026-10", "2026-07"},
		{"2026-07", "2026-09", "2026-04..2026-06"},
		{"2026-07", "2026-07", "2026-06"},
		{"2026-06", "2026-06", "2025-01..2025-12"},
		{"2026-12", "2026-12", "2026-11"},
	} {
		if last, err := findLast(st, c.from, c.to); err != nil || last.Period != c.want || last.Marks == "" || last.ReportDate != "2026-10-01" {
			t.Errorf("before %s..%s came %+v, %v; wanted %s", c.from, c.to, last, err, c.want)
		}
	}
	if last, err := findLast(st, "2025-01", "2025-01"); last != nil || err != nil {
		t.Errorf("before the first pack came %v, %v", last, err)
	}
}
