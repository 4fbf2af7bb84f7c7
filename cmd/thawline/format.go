package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
)

// format is the part of a verb that says in which form its result comes.
type format struct {
	Format string `enum:"table,csv,json" default:"table" aliases:"as" help:"Form of the result: ${enum}."`
}

// write writes rows of named cells in the form asked for.
func (f format) write(s *streams, names []string, rows [][]any) error {
	switch f.Format {
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
