package pack

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/policy"
	"thawline/internal/store"
)

// marksName is the file of a pack in the store that keeps what it said.
const marksName = "marks.parquet"

// lastPack is the pack before this one: a named input, told in run.json.
type lastPack struct {
	// Period is its folder's name, 2026-09 or 2026-07..2026-09.
	Period string `json:"period"`
	// ReportDate is the date that it shows.
	ReportDate string `json:"report_date"`
	// Marks is the SHA-256 of its marks.parquet.
	Marks string `json:"marks_sha256"`

	run   run
	files []string
}

// periodName is the folder's name of a period.
func periodName(from, to string) string {
	if from == to {
		return from
	}
	return from + ".." + to
}

// findLast returns the pack before the period that begins in the month from:
// of those whose period ended before it, the one that ended last; of several,
// the one of as many months, else the shortest. It is nil without one.
func findLast(st *store.Store, from, to string) (*lastPack, error) {
	length := monthsBetween(from, to)
	best, bestFrom, bestTo := "", "", ""
	for _, name := range st.Packs() {
		period := strings.TrimPrefix(name, "packs/")
		f, t, spans := strings.Cut(period, "..")
		if !spans {
			t = f
		}
		if t >= from {
			continue
		}
		same, bestSame := monthsBetween(f, t) == length, monthsBetween(bestFrom, bestTo) == length
		if best == "" || t > bestTo || t == bestTo && (same && !bestSame || same == bestSame && f > bestFrom) {
			best, bestFrom, bestTo = name, f, t
		}
	}
	if best == "" {
		return nil, nil
	}
	last := &lastPack{Period: strings.TrimPrefix(best, "packs/")}
	for _, f := range st.Layer(best) {
		switch filepath.Base(f.Path) {
		case marksName:
			last.Marks, last.files = f.SHA256, []string{f.Path}
		case "run.json":
			text, err := os.ReadFile(f.Path)
			if err != nil {
				return nil, fmt.Errorf("read what the last pack said: %w", err)
			}
			if err := json.Unmarshal(text, &last.run); err != nil {
				return nil, fmt.Errorf("%s: cannot be read (%w): make the pack of %s again", f.Path, err, last.Period)
			}
		}
	}
	if last.files == nil || last.run.From == "" {
		return nil, fmt.Errorf("the pack of %s is not whole: make it again with thawline report --period %s", last.Period, last.Period)
	}
	last.ReportDate = last.run.ReportDate
	return last, nil
}

// monthsBetween counts the months from one YYYY-MM to another, both included; 0
// for none.
func monthsBetween(from, to string) int {
	if from == "" {
		return 0
	}
	n := 0
	for m := from; m <= to; n++ {
		next, err := addMonths(m, 1)
		if err != nil {
			return n
		}
		m = next
	}
	return n
}

// loadLast gives the engine last_pack (a row, or none) and last_marks.
func (in *input) loadLast(ctx context.Context, e *engine.Engine) error {
	columns := []contract.Column{{Name: "name"}, {Name: "from_month"}, {Name: "to_month"}, {Name: "same_program", Kind: contract.Bool}, {Name: "other_maps", Kind: contract.Bool}}
	var rows [][]any
	var files []string
	if in.last != nil {
		first := in.last.run.History
		rows = [][]any{{in.periodOf(in.last.run.From, in.last.run.To), first, in.last.run.To, in.last.run.JudgedBy == in.judgedBy, in.otherMaps()}}
		files = in.last.files
	}
	if err := e.Load(ctx, "last_pack", columns, rows); err != nil {
		return err
	}
	return e.View(ctx, "last_marks", contract.PackMarks.Columns, files, "")
}

// writeMarks writes what this pack says of each episode of the months that it
// shows.
func writeMarks(ctx context.Context, e *engine.Engine, path string) (store.File, error) {
	return audit.WriteTable(ctx, e, path, contract.PackMarks, `(
SELECT episodes.*, CASE WHEN period.from_month = period.to_month THEN period.to_month ELSE period.from_month || '..' || period.to_month END AS period
FROM episodes, period WHERE episodes.month BETWEEN period.history_from_month AND period.to_month
) ORDER BY episode_id`)
}

// judgedBy names all that judges episodes beside records and policy values: the
// program's version and the decision table.
func judgedBy(p *policy.Policy, version string) (string, error) {
	table, err := p.Table()
	if err != nil {
		return "", err
	}
	h := sha256.New()
	for _, row := range table.Rows() {
		fmt.Fprintf(h, "%q\x00", row)
	}
	return version + "; table " + hex.EncodeToString(h.Sum(nil))[:16], nil
}

// restatement is an episode whose mark is not the one that the last pack said.
type restatement struct{ Name, Month, Was, Now, Because string }

// restated lists the episodes that figure restated counts.
func (in *input) restated(ctx context.Context, e *engine.Engine) ([]restatement, error) {
	_, rows, err := e.Rows(ctx, "cases: restated", `
SELECT either.episode_id, coalesce(episodes.month, last_marks.month), coalesce(last_marks.mark, ''), coalesce(episodes.mark, ''), coalesce(episodes.because, '')
FROM (
    SELECT last_marks.episode_id FROM last_marks
    UNION SELECT episodes.episode_id FROM episodes INNER JOIN last_pack ON episodes.month BETWEEN last_pack.from_month AND last_pack.to_month
) AS either
LEFT JOIN last_marks ON last_marks.episode_id = either.episode_id
LEFT JOIN episodes ON episodes.episode_id = either.episode_id
WHERE coalesce(last_marks.mark, '') <> coalesce(episodes.mark, '')
ORDER BY 2 DESC, 1`)
	if err != nil {
		return nil, err
	}
	var all []restatement
	for _, r := range rows {
		one := restatement{audit.Pseudonym(in.key, audit.EpisodeKind, r[0].(string)), in.format.Month(r[1].(string)), in.text(r[2]), in.text(r[3]), in.text(r[4])}
		if one.Was == "" {
			one.Was = in.w("not_known_then")
		}
		if one.Now == "" {
			one.Now = in.w("no_episode_now")
		}
		all = append(all, one)
	}
	return all, nil
}

// otherMaps says that an export of the last pack was read by another map since. A
// pack of an older program does not tell by which it was read.
func (in *input) otherMaps() bool {
	export := func(s Source) [3]string { return [3]string{s.Table, s.File, s.SHA256} }
	now := map[[3]string]map[string]bool{}
	for _, s := range in.sources {
		if now[export(s)] == nil {
			now[export(s)] = map[string]bool{}
		}
		now[export(s)][s.Map] = true
	}
	for _, s := range in.last.run.Sources {
		if maps := now[export(s)]; s.Map != "" && maps != nil && !maps[s.Map] {
			return true
		}
	}
	return false
}
