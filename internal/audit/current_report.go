package audit

import (
	"fmt"

	"thawline/internal/contract"
	"thawline/internal/store"
)

// CurrentTable tells what became of the rows of one table's readings:
// Read = Current + Superseded + Cancelled + GivenWay.
type CurrentTable struct {
	Table string `json:"table"`
	// Read counts the rows that all readings hold.
	Read int64 `json:"read"`
	// Current counts the rows that are true now.
	Current int64 `json:"current"`
	// Superseded counts rows that a later row of the same key replaced.
	Superseded int64 `json:"superseded"`
	// Cancelled counts cancellations and the rows that they took out.
	Cancelled int64 `json:"cancelled"`
	// GivenWay counts ratios made from times that gave way to ratios told, and lines told
	// without a ratio that gave way to those made from times.
	GivenWay int64 `json:"given_way"`
}

// CurrentReport tells what Current did.
type CurrentReport struct {
	// UpToDate says that nothing had changed, and nothing was written.
	UpToDate bool `json:"up_to_date"`
	// Tables holds a line for each feed that has a reading, in contract order.
	Tables []CurrentTable `json:"tables"`
	// PatientChanges counts issues that were told of more than one patient.
	PatientChanges int64 `json:"patient_changes"`
	// DiscardedApart counts issues that stand as presumed, though a row that
	// names no issue tells that their bag was discarded within 7 days after.
	DiscardedApart int64 `json:"discarded_apart"`
	// BedsideWithoutIssue counts bedside records that found no issue.
	BedsideWithoutIssue int64 `json:"bedside_without_issue"`
	// BedsideSetEqual counts bedside times up to ten minutes too early that
	// were set equal; BedsideEmptied cells over the limits of issues.
	BedsideSetEqual int64 `json:"bedside_set_equal"`
	BedsideEmptied  int64 `json:"bedside_emptied"`
	// Written and Kept count the layer's files made anew and left as they were.
	Written int64 `json:"files_written"`
	Kept    int64 `json:"files_kept"`
}

// fill puts the report's counts into the manifest's sums of the layer.
func (r *CurrentReport) fill(sums map[string]int64) {
	for _, line := range r.Tables {
		sums[line.Table+"_read"] = line.Read
		sums[line.Table] = line.Current
		sums[line.Table+"_superseded"] = line.Superseded
		sums[line.Table+"_cancelled"] = line.Cancelled
		sums[line.Table+"_given_way"] = line.GivenWay
	}
	sums["patient_changes"] = r.PatientChanges
	sums["discarded_apart"] = r.DiscardedApart
	sums["bedside_without_issue"] = r.BedsideWithoutIssue
	sums["bedside_set_equal"] = r.BedsideSetEqual
	sums["bedside_emptied"] = r.BedsideEmptied
}

// reportOf is the report that a layer's sums were filled from.
func reportOf(sums map[string]int64) CurrentReport {
	r := CurrentReport{
		PatientChanges: sums["patient_changes"], DiscardedApart: sums["discarded_apart"], BedsideWithoutIssue: sums["bedside_without_issue"],
		BedsideSetEqual: sums["bedside_set_equal"], BedsideEmptied: sums["bedside_emptied"],
	}
	for _, t := range contract.Feeds() {
		if read, found := sums[t.Name+"_read"]; found {
			r.Tables = append(r.Tables, CurrentTable{t.Name, read, sums[t.Name], sums[t.Name+"_superseded"], sums[t.Name+"_cancelled"], sums[t.Name+"_given_way"]})
		}
	}
	return r
}

// Lines says in a few lines what the layer holds and what became of the rest.
func (r CurrentReport) Lines() []string {
	if r.UpToDate {
		return []string{"current is up to date"}
	}
	var lines []string
	for _, t := range r.Tables {
		line := fmt.Sprintf("current %s: %d rows stored = %d current + %d superseded + %d cancelled", t.Table, t.Read, t.Current, t.Superseded, t.Cancelled)
		if t.GivenWay > 0 {
			line += fmt.Sprintf(" + %d ratios given way (those from times to ratios told, told ones without a value to those from times)", t.GivenWay)
		}
		lines = append(lines, line)
	}
	for _, note := range []struct {
		count int64
		says  string
	}{
		{r.PatientChanges, "issues told of more than one patient: the last word holds"},
		{r.DiscardedApart, "issues count as presumed transfused, though another row tells that the bag was discarded within 7 days: name issued_at in the row that tells of the discard"},
		{r.BedsideWithoutIssue, "bedside records found no issue (bedside, joined is false)"},
		{r.BedsideSetEqual, "bedside times were up to 10 minutes too early, and set equal"},
		{r.BedsideEmptied, "bedside cells were over the limits of issues, and stay empty"},
	} {
		if note.count > 0 {
			lines = append(lines, fmt.Sprintf("note: %d %s", note.count, note.says))
		}
	}
	return lines
}

// CurrentTables tells what became of the rows of each table when the layer
// current was made, by the sums that the store keeps; nil where there is none.
func CurrentTables(st *store.Store) []CurrentTable {
	facts, found := st.LayerFacts("current")
	if !found {
		return nil
	}
	return reportOf(facts.Sums).Tables
}
