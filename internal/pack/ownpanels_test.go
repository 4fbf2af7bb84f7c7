package pack

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/internal/engine"
	"thawline/internal/figure"
)

// ownFigure is a figure of a site's own by its statements.
func ownFigure(t *testing.T, reads, points, answer string) *figure.Definition {
	t.Helper()
	d, err := figure.Parse("panels/mine.sql", "-- mine: What?\n--\n-- reads:     "+reads+"\n-- points:    name: label; Name\n--            n: units; Number\n-- answer:    of: units; All\n"+points+"\n-- answer\n"+answer+"\n")
	if err != nil {
		t.Fatal(err)
	}
	d.Own = true
	return d
}

func fabricated(t *testing.T) *engine.Engine {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir(), Threads: engine.ThreadsBeside})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { e.Close() })
	if err := fabricate(t, 300).load(ctx, e); err != nil {
		t.Fatal(err)
	}
	return e
}

// TestOwnFiguresAreBoxed: what a site's own SQL must not do or see.
func TestOwnFiguresAreBoxed(t *testing.T) {
	e, ctx, one := fabricated(t), context.Background(), &owned{}
	outside := filepath.Join(t.TempDir(), "outside.csv")
	if err := os.WriteFile(outside, []byte("SECRET\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const good, all = "SELECT 'x' AS name, 1 AS n", "SELECT 1 AS of"
	f, err := one.run(ctx, e, ownFigure(t, "episodes, evidence", "SELECT episodes.mark AS name, count(DISTINCT evidence.episode_id) AS n FROM episodes JOIN evidence ON evidence.episode_id = episodes.episode_id GROUP BY ALL ORDER BY ALL", "SELECT sum(points.n)::BIGINT AS of FROM points"), false)
	if err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(ctx, "q", "SELECT count(DISTINCT episodes.episode_id) FROM episodes JOIN evidence USING (episode_id)")
	if err != nil || f.Values["of"].Value != rows[0][0] || rows[0][0] == int64(0) {
		t.Errorf("episodes joined by their numbers: %v, want %v (%v)", f.Values["of"].Value, rows, err)
	}
	for _, c := range []struct{ reads, points, answer, says string }{
		{"episodes", "COPY (SELECT 1) TO '" + outside + ".copy'", all, "wanted one SELECT"},
		{"episodes", "DELETE FROM episodes; " + good, all, "wanted one SELECT"},
		{"episodes", good + "; " + good, all, "2 statements"},
		{"episodes", "SELECT content AS name, 1 AS n FROM read_text('" + outside + "')", all, "read_text"},
		{"episodes", "SELECT 'x' AS name, (SELECT count(*) FROM read_blob('" + outside + "')) AS n", all, "read_blob"},
		{"episodes", "SELECT 'x' AS name, 1 AS n FROM '" + outside + "'", all, "outside.csv"},
		{"episodes", good, "SELECT count(*) AS of FROM labs", `it reads "labs"`},
		{"episodes, aliases", good, all, `names "aliases"`},
		{"episodes", "SELECT episodes.patient_id AS name, 1 AS n FROM episodes", all, "patient_id is not in what a panel may read"},
		{"episodes", "SELECT requester AS name, 1 AS n FROM episodes", all, "requester is not in what a panel may read"},
		{"units", "SELECT unit_no AS name, 1 AS n FROM units", all, "unit_no is not in what a panel may read"},
		{"findings", "SELECT key AS name, 1 AS n FROM findings", all, "key is not in what a panel may read"},
		{"episodes", "SELECT episode_id AS name, 1 AS n FROM episodes", all, "which is no label"},
		{"episodes", "SELECT current_date::VARCHAR AS name, 1 AS n", all, "another answer another time"},
		{"episodes", good, "SELECT 1 AS of FROM episodes", "wanted one"},
		{"episodes", "SELECT 'x' AS name, 1 AS n FORM", all, "panels/mine.sql:7:"},
		{"episodes", good, "SELECT\n    nonsuch AS of", "panels/mine.sql:10:"},
	} {
		_, err := one.run(ctx, e, ownFigure(t, c.reads, c.points, c.answer), false)
		var faults *PanelFaults
		if !errors.As(err, &faults) || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), "panels/mine.sql") {
			t.Errorf("%s; %s: %v, want %q", c.points, c.answer, err, c.says)
		}
		if err != nil && strings.Contains(err.Error(), "SECRET") {
			t.Errorf("%s: the error shows a cell: %v", c.points, err)
		}
	}
	if files, _ := filepath.Glob(outside + "*"); len(files) != 1 {
		t.Errorf("a figure wrote files: %v", files)
	}
	defer func(before time.Duration) { ownTime = before }(ownTime)
	ownTime = 300 * time.Millisecond
	if _, err := one.run(ctx, e, ownFigure(t, "episodes", "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n) SELECT 'x' AS name, count(*) AS n FROM n", all), false); err == nil || !strings.Contains(err.Error(), "was stopped") {
		t.Errorf("an endless figure: %v", err)
	}
}

// TestOwnFiguresSeeNobody looks at every value of every table that a figure of a site's
// own may name.
func TestOwnFiguresSeeNobody(t *testing.T) {
	e, ctx, one := fabricated(t), context.Background(), &owned{}
	open, err := ownReads()
	if err != nil {
		t.Fatal(err)
	}
	_, rows, err := e.Rows(ctx, "q", "SELECT patient_id FROM episodes UNION SELECT requester FROM episodes UNION SELECT unit_no FROM units UNION SELECT episode_id FROM episodes")
	if err != nil || len(rows) < 500 {
		t.Fatal(len(rows), err)
	}
	secret := map[any]bool{}
	for _, row := range rows {
		secret[row[0]] = row[0] != nil
	}
	some := 0
	for _, table := range open {
		// A star asks for all columns.
		d := ownFigure(t, table, "SELECT 'x' AS name, 1 AS n FROM (SELECT * FROM "+table+")", "SELECT 1 AS of")
		box, err := one.boxed(ctx, e, d)
		if err != nil {
			t.Fatal(table, err)
		}
		names, rows, err := box.Rows(ctx, "q", "SELECT * FROM "+engine.Name(table))
		box.Close()
		if err != nil {
			t.Fatal(table, err)
		}
		for _, row := range rows {
			for i, cell := range row {
				if some++; secret[cell] {
					t.Errorf("%s.%s holds %v", table, names[i], cell)
				}
			}
		}
	}
	if some < 1000 {
		t.Errorf("%d cells were looked at", some)
	}
}
