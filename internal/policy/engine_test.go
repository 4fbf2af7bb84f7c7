package policy

import (
	"context"
	"testing"

	"thawline/internal/engine"
)

// The three tables go through the engine as SQL reads them: a fact that no
// value is null by accident and no type is refused.
func TestTablesLoadIntoTheEngine(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	p := load(t, "over_bleeding: [{from: 2025-07-01, value: 1.8}]\n")
	table, err := p.Table()
	if err != nil {
		t.Fatal(err)
	}
	for _, load := range []error{
		e.Load(ctx, "policy", p.Columns(), p.Rows()),
		e.Load(ctx, "weight_for_age", p.WeightColumns(), p.WeightRows()),
		e.Load(ctx, "marks", table.Columns(), table.Rows()),
	} {
		if load != nil {
			t.Fatal(load)
		}
	}
	_, rows, err := e.Rows(ctx, "policy values by day", `SELECT over_bleeding, viscoelastic_over IS NULL, presumed_is_transfused,
		(SELECT count(*) FROM weight_for_age WHERE under_days IS NULL AND under_years IS NULL), (SELECT max(mark_row) FROM marks)
		FROM policy WHERE DATE '2025-07-01' >= coalesce(from_date, DATE '0001-01-01') AND DATE '2025-07-01' < coalesce(until_date, DATE '9999-12-31')`)
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1 || rows[0][0] != 1.8 || rows[0][1] != true || rows[0][2] != true || rows[0][3] != int64(1) || rows[0][4] != int64(len(table.Rows())) {
		t.Errorf("got %v", rows)
	}
}
