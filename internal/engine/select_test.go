package engine

import (
	"context"
	"strings"
	"testing"

	"thawline/internal/contract"
)

func TestSelectReadsTablesAlone(t *testing.T) {
	e := open(t)
	ctx := context.Background()
	if err := e.Load(ctx, "issues", []contract.Column{{Name: "unit_no"}}, [][]any{{"U1"}}); err != nil {
		t.Fatal(err)
	}
	for _, query := range []string{
		"SELECT count(*) FROM issues",
		"WITH numbered AS (SELECT * FROM issues) SELECT * FROM numbered JOIN issues ON numbered.unit_no = issues.unit_no",
		"SELECT * FROM range(3)",
	} {
		if _, _, err := e.Select(ctx, "q", query); err != nil {
			t.Errorf("%s: %v", query, err)
		}
	}
	for query, want := range map[string]string{
		"DROP TABLE issues":                                          "",
		"SELECT 1; DROP TABLE issues":                                "",
		"SELECT * FROM '/etc/passwd'":                                "not in the store",
		"SELECT * FROM read_csv('/etc/passwd')":                      "not allowed",
		"SELECT (SELECT max(content) FROM read_text('/etc/passwd'))": "not allowed",
		"COPY issues TO '/tmp/x.csv'":                                "",
		"SELECT *\nFROM\nWHERE":                                      "q:3",
		"SELECT nothing FROM issues":                                 "Binder Error",
		"SELECT * FROM main.issues":                                  "bare name",
		"SELECT 1 FROM '/etc/hosts.csv' WHERE EXISTS (WITH \"/etc/hosts.csv\" AS (SELECT 1) SELECT 1)": "letters",
		"SELECT\n*\nFROM nowhere": "q:3",
	} {
		_, _, err := e.Select(ctx, "q", query)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error is %v, wanted %q in it", query, err, want)
		}
	}
	if _, rows, err := e.Rows(ctx, "q", "SELECT count(*) FROM issues"); err != nil || rows[0][0] != int64(1) {
		t.Errorf("the table did not survive: %v %v", rows, err)
	}
}
