package site

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var aims = []string{"appropriate_by_month", "waste_by_month"}

func decisionsOf(t *testing.T, text string) ([]Decision, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, DecisionsFile), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return (&Site{Dir: dir}).LoadDecisions(aims)
}

func TestDecisions(t *testing.T) {
	all, err := decisionsOf(t, `decisions:
  - date: 2026-05-12
    decision: "Thaw on the phone call, not on the request"
    owner: blood bank manager
    due: 2026-07-01
    figure: waste_by_month
  - {date: 2026-03-10, decision: Order by weight, owner: chair, done: 2026-03-10}
`)
	if err != nil || len(all) != 2 {
		t.Fatalf("%v, %v", all, err)
	}
	if all[0].Decision != "Order by weight" || all[0].Done != all[0].Date || !all[0].Due.IsZero() || all[1].Figure != "waste_by_month" || all[1].Line != 2 || all[1].Due.Format("2006-01-02") != "2026-07-01" {
		t.Errorf("%+v", all)
	}
	if all, err := (&Site{Dir: t.TempDir()}).LoadDecisions(aims); all != nil || err != nil {
		t.Errorf("a site without the file has %v, %v", all, err)
	}
	if all, err := decisionsOf(t, "decisions: []\n"); len(all) != 0 || err != nil {
		t.Errorf("an empty list gives %v, %v", all, err)
	}
}

func TestEveryFaultOfDecisionsHasItsPlace(t *testing.T) {
	_, err := decisionsOf(t, `decisions:
  - date: 12.05.2026
    decision: Thaw later
    owner: blood bank manager
    due: 2026-07-01
  - date: 2026-05-12
    decison: Thaw later
    owner: blood bank manager
  - date: 2026-05-12
    decision: Thaw later
    owner: [a, b]
    done: 2026-05-01
    figure: waste_per_month
  - later
other: 1
`)
	var faults *Faults
	if !errors.As(err, &faults) {
		t.Fatalf("%v", err)
	}
	for _, want := range []string{
		`decisions.yaml:2:11: date: found "12.05.2026", wanted a day`,
		`decisions.yaml:6:5: decisions: found no decision, wanted date, decision and owner`,
		`decisions.yaml:7:5: decisions: unknown key: found "decison"; did you mean decision?`,
		`decisions.yaml:11:12: owner: found a list, wanted words`,
		`decisions.yaml:12:11: done: found 2026-05-01, before the decision of 2026-05-12`,
		`decisions.yaml:13:13: figure: found "waste_per_month"; did you mean waste_by_month?`,
		`decisions.yaml:14:5: decisions: found "later", wanted {date`,
		`decisions.yaml:15:1: unknown key: found "other"`,
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no fault %q in\n%v", want, err)
		}
	}
	if _, err := decisionsOf(t, "decisions: [\n"); err == nil || !strings.Contains(err.Error(), "not YAML") {
		t.Errorf("broken YAML: %v", err)
	}
}
