package main

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"thawline/internal/audit"
)

type queryCommand struct {
	where
	SQL string `arg:"" help:"One SELECT over the tables of the store (thawline describe)."`
	As  string `enum:"table,csv,json" default:"table" help:"Form of the result: ${enum}."`
}

// Run answers one SELECT over the layers current and audit. The result goes to
// the person who asked, who has the store: it may identify patients.
func (c *queryCommand) Run(ctx context.Context, s *streams) error {
	site, p, st, err := c.open(false)
	if err != nil {
		return err
	}
	defer st.Close()
	e, err := audit.OpenReader(ctx, st, site)
	if err != nil {
		return err
	}
	defer e.Close()
	if err := audit.PolicyTables(ctx, e, p); err != nil {
		return err
	}
	names, rows, err := e.Select(ctx, "your query", c.SQL)
	if err != nil {
		return usageError{err}
	}
	switch c.As {
	case "csv":
		return writeCSV(s.out, names, rows)
	case "json":
		all := make([]map[string]any, len(rows))
		for i, row := range rows {
			all[i] = map[string]any{}
			for j, cell := range row {
				all[i][names[j]] = cell
				if t, ok := cell.(time.Time); ok {
					all[i][names[j]] = cellText(t)
				}
			}
		}
		return s.json(all)
	}
	w := tabwriter.NewWriter(s.out, 2, 4, 2, ' ', 0)
	fmt.Fprintln(w, strings.Join(names, "\t"))
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = strings.NewReplacer("\t", " ", "\n", " ").Replace(cellText(cell))
		}
		fmt.Fprintln(w, strings.Join(cells, "\t"))
	}
	return w.Flush()
}

func writeCSV(out io.Writer, names []string, rows [][]any) error {
	w := csv.NewWriter(out)
	w.Write(names)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = cellText(cell)
			if _, text := cell.(string); text {
				cells[i] = harmless(cells[i])
			}
		}
		w.Write(cells)
	}
	w.Flush()
	return w.Error()
}

// harmless keeps a spreadsheet from running a text cell as a formula: a cell
// that starts with one of these signs gets a quote before it (OWASP, CSV
// injection).
func harmless(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}

// cellText writes a cell: times in UTC, null empty.
func cellText(cell any) string {
	switch v := cell.(type) {
	case nil:
		return ""
	case time.Time:
		return strings.TrimSuffix(v.UTC().Format("2006-01-02 15:04:05.999999"), ".")
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(cell)
}
