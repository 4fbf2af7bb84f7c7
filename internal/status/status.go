package status

import (
	"context"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/contract"
	"thawline/internal/policy"
	"thawline/internal/site"
	"thawline/internal/store"
)

// Source is one export in the store: Read = Accepted + Rejected + SetAside.
type Source struct {
	Table string `json:"table"`
	File  string `json:"file"`
	// Date is the date in the file's name, YYYY-MM-DD, or empty.
	Date string `json:"date"`
	// Reading is the reading's id, by which it can be withdrawn.
	Reading string `json:"reading"`
	// Version of Versions that came under its name for its table; the last of them
	// wins. InInbox says where there are several whether its bytes lie there.
	Version  int   `json:"version"`
	Versions int   `json:"versions"`
	InInbox  *bool `json:"in_inbox,omitempty"`
	Read     int64 `json:"read"`
	Accepted int64 `json:"accepted"`
	Rejected int64 `json:"rejected"`
	SetAside int64 `json:"set_aside"`
}

// Report is the state of a store.
type Report struct {
	Store    string `json:"store"`
	Contract int    `json:"contract"`
	// Sources stand in source order.
	Sources []Source `json:"sources"`
	// Withdrawn are exports that were taken back and are not taken in again.
	Withdrawn []store.Withdrawal `json:"withdrawn,omitempty"`
	Spans     []Span             `json:"spans"`
	// Current are the sums of the layer current by table, empty where there is none.
	Current []audit.CurrentTable `json:"current"`
	// Audit are the sums of the last marking, nil where there was none.
	Audit *audit.Summary `json:"audit"`
	// Packs names the packs by their period.
	Packs    []string     `json:"packs"`
	Behind   audit.Behind `json:"behind"`
	Problems []KindCount  `json:"problems"`
	// OtherMaps counts the exports of the inbox that were read by other maps than
	// those of site.yaml.
	OtherMaps int `json:"other_maps"`
	// Matched tells how many of the patients with plasma each table knows.
	Matched []audit.Matched `json:"matched"`
}

// KindCount counts problems of one severity: how many kinds, and over all rows.
type KindCount struct {
	Severity string `json:"severity"`
	Kinds    int    `json:"kinds"`
	Rows     int64  `json:"rows"`
}

// Of tells the state of a store. It changes nothing.
func Of(ctx context.Context, st *store.Store, s *site.Site, p *policy.Policy) (*Report, error) {
	r := &Report{Store: st.Dir(), Contract: contract.Version, Sources: []Source{}, Packs: []string{}, Problems: []KindCount{}, Withdrawn: st.Withdrawn()}
	readings := st.Readings()
	versions := versionsOf(readings)
	for _, of := range readings {
		v := versions.place(of)
		src := Source{Table: of.Table, File: of.File, Date: of.Date, Reading: of.ID, Version: v.no, Versions: v.of,
			Read: of.Read, Accepted: of.Accepted, Rejected: of.Rejected, SetAside: of.SetAside}
		if v.of > 1 {
			lies := inInbox(s, of)
			src.InInbox = &lies
		}
		r.Sources = append(r.Sources, src)
	}
	for _, name := range st.Packs() {
		r.Packs = append(r.Packs, strings.TrimPrefix(name, "packs/"))
	}
	var err error
	if r.Behind, err = audit.LayersBehind(ctx, st, s, p); err != nil {
		return nil, err
	}
	r.Current = audit.CurrentTables(st)
	if marked, found := audit.LastSummary(st); found {
		r.Audit = &marked
	}
	r.OtherMaps = OtherMaps(s, st)
	if r.Matched, err = audit.MatchedPatients(ctx, st, true); err != nil {
		return nil, err
	}
	problems, err := Problems(ctx, NewGuard(s, readings), readings)
	if err != nil {
		return nil, err
	}
	for _, problem := range problems { // Sorted by severity.
		if n := len(r.Problems); n == 0 || r.Problems[n-1].Severity != problem.Severity {
			r.Problems = append(r.Problems, KindCount{Severity: problem.Severity})
		}
		last := &r.Problems[len(r.Problems)-1]
		last.Kinds++
		last.Rows += problem.Rows
	}
	e, err := audit.OpenReader(ctx, st, s)
	if err != nil {
		return nil, err
	}
	defer e.Close()
	r.Spans, err = Spans(ctx, e, s.Zone)
	return r, err
}
