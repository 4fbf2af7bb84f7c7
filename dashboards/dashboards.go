// Package dashboards holds the pages of the pack as data: which panels stand in
// which order, each with the question it answers, its figure and its chart.
package dashboards

import "embed"

// FS holds every dashboard.
//
//go:embed *.yaml
var FS embed.FS
