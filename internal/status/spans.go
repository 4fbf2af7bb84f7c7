package status

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"time"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// MonthRows is the number of rows of a month, YYYY-MM on the hospital's clock.
type MonthRows struct {
	Month string `json:"month"`
	Rows  int64  `json:"rows"`
}

// Span tells over which months a table of the layer current has rows.
type Span struct {
	Table string `json:"table"`
	// Part is the test, kind or measure, where a table holds several.
	Part string `json:"part,omitempty"`
	Rows int64  `json:"rows"`
	// First and Last are months, and Months lists all that have rows.
	First  string      `json:"first"`
	Last   string      `json:"last"`
	Months []MonthRows `json:"months"`
	// Gaps are months without rows between months with rows; Thin are months
	// between the first and the last that have under a quarter of the median.
	// Months before those of issues do not count: weights and diagnoses reach
	// back further, here and there.
	Gaps []string `json:"gaps,omitempty"`
	Thin []string `json:"thin,omitempty"`
	// Short is by how many months the rows end before those of issues and labs.
	Short int `json:"short_months,omitempty"`
	// Sparse says that the rows are so few that an empty month means nothing:
	// Gaps, Thin and Short stay empty.
	Sparse bool `json:"sparse,omitempty"`
}

// sparseRows is the mean number of rows a month under which a part of a table
// is sparse: of a mean of 10, chance alone leaves one month in 20,000 empty
// (Poisson).
const sparseRows = 10

// dated says which time of a table's rows places them in a month, and what
// parts it has.
var dated = []struct {
	table    *contract.Table
	at, part string
}{
	{contract.Issues, "coalesce(issued_at, thawed_at, discarded_at)", "''"},
	{contract.Bedside, "started_at", "''"},
	{contract.Labs, "collected_at", "test"},
	{contract.Measures, "measured_at", "kind"},
	{contract.Events, "at", "kind"},
	{contract.Medicines, "given_at", "''"},
	{contract.Activity, "CAST(month || '-15' AS TIMESTAMP)", "measure"},
}

// Spans reads the spans from the tables of the layer current, in the order of
// the contract. patients and aliases bear no time and have none.
func Spans(ctx context.Context, e *engine.Engine, zone *time.Location) ([]Span, error) {
	var all []Span
	began := ""
	for _, d := range dated {
		// The rows of a quarter of an hour lie in one month on any clock of the
		// world; so do those of a day of UTC that is not near a month's end.
		_, rows, err := e.Rows(ctx, "months of "+d.table.Name, fmt.Sprintf(`
SELECT part, min(at) AS at, count(*) AS n
FROM (SELECT %s AS part, %s AS at FROM %s)
WHERE at IS NOT NULL
GROUP BY part, epoch_us(at) // CASE WHEN day(at) = 1 OR day(at) >= 28 THEN 900000000 ELSE 86400000000 END, day(at)
ORDER BY part, at`, d.part, d.at, engine.Name(d.table.Name)))
		if err != nil {
			return nil, err
		}
		parts := map[string]map[string]int64{}
		for _, row := range rows {
			part, at := row[0].(string), row[1].(time.Time).UTC()
			if d.table != contract.Activity { // Its month is the hospital's already.
				at = at.In(zone)
			}
			if parts[part] == nil {
				parts[part] = map[string]int64{}
			}
			parts[part][at.Format("2006-01")] += row[2].(int64)
		}
		var names []string
		for part := range parts {
			names = append(names, part)
		}
		inOrder := map[string]int{}
		for i, test := range contract.Tests {
			inOrder[test] = i
		}
		sort.Slice(names, func(i, j int) bool {
			if a, b := inOrder[names[i]], inOrder[names[j]]; a != b {
				return a < b
			}
			return names[i] < names[j]
		})
		for _, part := range names { // issues come first.
			all = append(all, spanOf(d.table.Name, part, parts[part], began))
		}
		if d.table == contract.Issues && len(all) > 0 {
			began = all[0].First
		}
	}
	var newest string
	for _, s := range all {
		if s.Table == contract.Issues.Name || s.Table == contract.Labs.Name {
			newest = max(newest, s.Last)
		}
	}
	for i := range all {
		if s := &all[i]; !s.Sparse && newest > s.Last {
			s.Short = monthsBetween(s.Last, newest)
		}
	}
	return all, nil
}

// ReadingMonths tells the first and the last month of a reading's rows, empty
// where its table bears no time or it has no rows.
func ReadingMonths(ctx context.Context, r store.Reading, zone *time.Location) (first, last string, err error) {
	at := ""
	for _, d := range dated {
		if d.table.Name == r.Table {
			at = d.at
		}
	}
	var files []string
	for _, f := range r.Files {
		if f.Name != contract.Problems.Name {
			files = append(files, f.Path)
		}
	}
	if at == "" || len(files) == 0 {
		return "", "", nil
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		return "", "", err
	}
	defer e.Close()
	if err := e.View(ctx, r.Table, contract.Find(r.Table).SourceColumns(), files, ""); err != nil {
		return "", "", err
	}
	_, rows, err := e.Rows(ctx, "months of "+r.Table, fmt.Sprintf("SELECT min(%s), max(%s) FROM %s", at, at, engine.Name(r.Table)))
	if err != nil || rows[0][0] == nil {
		return "", "", err
	}
	if r.Table == contract.Activity.Name {
		zone = time.UTC // Its month is the hospital's already.
	}
	month := func(cell any) string { return cell.(time.Time).In(zone).Format("2006-01") }
	return month(rows[0][0]), month(rows[0][1]), nil
}

// spanOf makes the span of one table or part from its rows by month. Gaps are
// looked for from the month began on.
func spanOf(table, part string, rows map[string]int64, began string) Span {
	s := Span{Table: table, Part: part}
	var counts []int64
	for month, n := range rows {
		s.Months = append(s.Months, MonthRows{month, n})
		counts = append(counts, n)
		s.Rows += n
	}
	sort.Slice(s.Months, func(i, j int) bool { return s.Months[i].Month < s.Months[j].Month })
	slices.Sort(counts)
	s.First, s.Last = s.Months[0].Month, s.Months[len(s.Months)-1].Month
	whole := int64(monthsBetween(s.First, s.Last)) + 1
	if s.Sparse = part != "" && table != contract.Activity.Name && s.Rows < sparseRows*whole; s.Sparse {
		return s
	}
	median := counts[len(counts)/2]
	for month := max(s.First, began); month < s.Last; month = nextMonth(month) {
		switch n := rows[month]; {
		case n == 0:
			s.Gaps = append(s.Gaps, month)
		case month != s.First && 4*n < median && table != contract.Activity.Name:
			s.Thin = append(s.Thin, month)
		}
	}
	return s
}

func nextMonth(month string) string {
	at, _ := time.Parse("2006-01", month) // Made by Format.
	return at.AddDate(0, 1, 0).Format("2006-01")
}

func monthsBetween(from, to string) int {
	a, _ := time.Parse("2006-01", from)
	b, _ := time.Parse("2006-01", to)
	return 12*(b.Year()-a.Year()) + int(b.Month()) - int(a.Month())
}

// Faults says in a few words what a span lacks, or nothing.
func (s *Span) Faults() []string {
	var all []string
	if len(s.Gaps) > 0 {
		all = append(all, "no rows in "+monthList(s.Gaps))
	}
	if len(s.Thin) > 0 {
		all = append(all, "few rows in "+monthList(s.Thin))
	}
	if s.Short > 0 {
		all = append(all, fmt.Sprintf("ends %d month%s before issues and labs", s.Short, plural(s.Short)))
	}
	return all
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// monthList names months, a run of them by its ends.
func monthList(months []string) string {
	text := ""
	for i := 0; i < len(months); {
		j := i
		for j+1 < len(months) && nextMonth(months[j]) == months[j+1] {
			j++
		}
		if text != "" {
			text += ", "
		}
		switch {
		case j == i:
			text += months[i]
		default:
			text += months[i] + " to " + months[j]
		}
		i = j + 1
	}
	return text
}
