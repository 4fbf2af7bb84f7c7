package pack

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"thawline/internal/engine"
	"thawline/internal/figure"
)

// every runs all figures of the dashboard, undisclosed.
func every(t *testing.T, e *engine.Engine, in *input) ([]*figure.Figure, *figure.Atoms) {
	t.Helper()
	ctx := context.Background()
	d, defined, err := panels(nil)
	if err != nil {
		t.Fatal(err)
	}
	var all []*figure.Figure
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			f, err := defined[p.Figure].Run(ctx, e)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, f)
		}
	}
	atoms, err := figure.LoadAtoms(ctx, e, all, figure.Spans{From: in.from, To: in.to, YearFrom: in.yearFrom(), HistoryFrom: in.historyFrom})
	if err != nil {
		t.Fatal(err)
	}
	return all, atoms
}

// attacker solves linear equations over whole numbers modulo a prime (another
// one than figure's), densely: what can be worked out by adding and subtracting.
type attacker struct {
	width int
	rows  map[int][]uint64
}

const attackersPrime = 1_000_000_007

// rest reduces a vector and returns its first coordinate that is left, -1 for none.
func (a *attacker) rest(of map[int]int64) ([]uint64, int) {
	v := make([]uint64, a.width)
	for i, x := range of {
		v[i] = uint64((x%attackersPrime + attackersPrime) % attackersPrime)
	}
	for i := range v {
		if v[i] == 0 {
			continue
		}
		row := a.rows[i]
		if row == nil {
			return v, i
		}
		x := v[i]
		for j := i; j < a.width; j++ {
			v[j] = (v[j] + (attackersPrime-x)*row[j]) % attackersPrime
		}
	}
	return v, -1
}

func (a *attacker) learn(of map[int]int64) {
	v, at := a.rest(of)
	if at < 0 {
		return
	}
	inverse, x := uint64(1), v[at]
	for n := attackersPrime - 2; n > 0; n >>= 1 {
		if n&1 == 1 {
			inverse = inverse * x % attackersPrime
		}
		x = x * x % attackersPrime
	}
	for i := range v {
		v[i] = v[i] * inverse % attackersPrime
	}
	a.rows[at] = v
}

// TestNoCountOfAPackCanBeWorkedOut attacks whole packs of small hospitals: by adding
// and subtracting, and by bounds too. What counts the same is hidden in one place and
// in all.
func TestNoCountOfAPackCanBeWorkedOut(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		episodes int
		from, to string
	}{{40, "2026-09", "2026-09"}, {50, "2026-08", "2026-08"}, {60, "2026-09", "2026-09"}, {120, "2026-08", "2026-08"}, {220, "2026-09", "2026-09"}, {220, "2026-07", "2026-09"}, {900, "2026-09", "2026-09"}} {
		t.Run(fmt.Sprintf("%d episodes, %s to %s", c.episodes, c.from, c.to), func(t *testing.T) {
			in := fabricate(t, c.episodes)
			in.from, in.to = c.from, c.to
			spokenOf(t, in, "2025-03", "2026-07")
			e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
			if err != nil {
				t.Fatal(err)
			}
			defer e.Close()
			if err := in.load(ctx, e); err != nil {
				t.Fatal(err)
			}
			figures, atoms := every(t, e, in)
			before := figure.Equations(figures, atoms, 5)
			figure.Together(figures, atoms, 5)
			after := figure.Equations(figures, atoms, 5)
			a := &attacker{rows: map[int][]uint64{}}
			for _, equation := range append(append([]figure.Equation{}, before...), after...) {
				for i := range equation.Of {
					a.width = max(a.width, i+1)
				}
			}
			for _, equation := range after {
				a.learn(equation.Of)
			}
			patient := newBounds(before, after)
			if !patient.narrow() {
				t.Error("what the pack shows cannot be: the attack proves nothing")
			}
			for _, name := range patient.known(5) {
				t.Errorf("%s is the only number that fits", name)
			}
			for _, one := range apart(before, after) {
				t.Error(one)
			}
			guarded := 0
			for _, equation := range before {
				if !equation.Guarded {
					continue
				}
				guarded++
				if _, at := a.rest(equation.Of); at < 0 {
					t.Errorf("%s can be worked out", equation.Count)
				}
			}
			if guarded < 10 {
				t.Errorf("%d small counts: the test proves little", guarded)
			}
			t.Logf("%d counts, %d of them small, %d shown", len(before), guarded, len(after))
		})
	}
}

// spokenOf gives a pack a last one, of the months before to, which said another mark of
// some episodes, did not know some, and knew some that are none any more.
func spokenOf(t *testing.T, in *input, from, to string) {
	t.Helper()
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	file := filepath.Join(t.TempDir(), marksName)
	if err := e.Exec(ctx, "what the last pack said", fmt.Sprintf(`COPY (
SELECT '%[2]s' AS period, CASE WHEN n %% 53 = 9 THEN 'gone ' || n ELSE episode_id END AS episode_id, month, CASE WHEN n %% 7 = 3 THEN 'undetermined' ELSE mark END AS mark, because, policy_hash
FROM (SELECT *, row_number() OVER (ORDER BY episode_id) AS n FROM %[3]s)
WHERE month BETWEEN '%[1]s' AND '%[2]s' AND n %% 31 <> 5) TO %[4]s (FORMAT parquet)`, from, to, engine.Quote(in.files["episodes"][0]), engine.Quote(file))); err != nil {
		t.Fatal(err)
	}
	in.last = &lastPack{Period: to, run: run{From: to, To: to, History: from, JudgedBy: in.judgedBy}, files: []string{file}}
}

// apart lists counts that are hidden in one place and shown in another.
func apart(before, after []figure.Equation) (names []string) {
	shown := map[string]bool{}
	for _, e := range after {
		shown[e.Count] = true
	}
	places := map[string]figure.Equation{}
	for _, e := range before {
		if e.Count == "" || e.Value == 0 || strings.Contains(e.Count, " less row ") {
			continue
		}
		key := fmt.Sprint(e.Of)
		if other, found := places[key]; found && shown[e.Count] != shown[other.Count] {
			names = append(names, fmt.Sprintf("%s is shown %t, and %s, which counts the same, %t", e.Count, shown[e.Count], other.Count, shown[other.Count]))
		}
		places[key] = e
	}
	return names
}

// TestEveryCountIsTold: what a figure does not say of its counts, nobody guards across
// figures.
func TestEveryCountIsTold(t *testing.T) {
	d, defined, err := panels(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range d.Sections {
		for _, p := range s.Panels {
			if untold := defined[p.Figure].Untold(); len(untold) > 0 {
				t.Errorf("queries/figures/%s.sql: its means say nothing of %v: neither what they count nor why they stand alone", p.Figure, untold)
			}
		}
	}
}

// TestFiguresMeanWhatTheySay counts the episodes of every meaning and compares
// with what the figure's own query counted.
func TestFiguresMeanWhatTheySay(t *testing.T) {
	ctx := context.Background()
	told := 0
	for _, period := range [][2]string{{"2026-09", "2026-09"}, {"2026-01", "2026-06"}, {"2025-02", "2026-07"}} {
		in := fabricate(t, 700)
		in.from, in.to = period[0], period[1]
		spokenOf(t, in, "2024-11", "2025-12")
		e, err := engine.Open(ctx, engine.Options{TempDir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		defer e.Close()
		if err := in.load(ctx, e); err != nil {
			t.Fatal(err)
		}
		figures, atoms := every(t, e, in)
		for _, wrong := range atoms.Wrong(figures) {
			t.Errorf("%v: %s", period, wrong)
		}
		for _, equation := range figure.Equations(figures, atoms, 5) {
			if len(equation.Of) > 1 {
				told++
			}
		}
	}
	if told < 100 {
		t.Errorf("%d counts say what they count: the test proves little", told)
	}
}
