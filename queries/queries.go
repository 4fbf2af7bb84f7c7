// Package queries holds the SQL that makes current, episodes, marks, findings
// and figures, in the order in which the data flows.
package queries

import "embed"

// FS holds every query and the decision table.
//
//go:embed *.sql */*.sql *.csv
var FS embed.FS
