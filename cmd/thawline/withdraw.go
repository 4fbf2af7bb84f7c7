package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thawline/internal/audit"
	"thawline/internal/site"
	"thawline/internal/status"
	"thawline/internal/store"
)

type withdrawCommand struct {
	where
	Export []string `arg:"" name:"export" help:"Base name of an export in the store, or the beginning of its reading's id (thawline status --files) or of the SHA-256 of its bytes: of several versions of one name, the one to take back."`
	Forget bool     `help:"Do not remember it: the next ingest takes it in again if it lies in its place. Also lifts an earlier withdrawal."`
	DryRun bool     `name:"dry-run" help:"Say what would change, and change nothing."`
	Yes    bool     `help:"Withdraw it although its export is no longer in its place, so that it cannot be taken in again."`
	JSON   bool     `name:"json" help:"What was withdrawn as JSON."`
}

// withdrawal is what the verb says of one export.
type withdrawal struct {
	Table   string `json:"table"`
	File    string `json:"file"`
	Date    string `json:"date"`
	Reading string `json:"reading"`
	// Rows is what the store holds of it, in the months First to Last.
	Rows  int64  `json:"rows"`
	First string `json:"first_month,omitempty"`
	Last  string `json:"last_month,omitempty"`
}

// Run takes exports back whole: their readings go, and current is made as if
// they had never come. An export that still lies in the inbox is remembered by
// its hash, so that the next ingest does not take it in again.
func (c *withdrawCommand) Run(ctx context.Context, s *streams) error {
	hospital, _, st, err := c.openDamaged(!c.DryRun)
	if err != nil {
		return err
	}
	defer st.Close()
	entries, lifted, err := c.chosen(st, hospital)
	if err != nil {
		return err
	}
	told, err := c.describe(ctx, st, hospital, entries)
	if err != nil {
		return err
	}
	var refused error
	if !c.Yes && !c.Forget {
		if refused = c.stillThere(st, hospital, entries); refused != nil && !c.DryRun {
			return refused
		}
	}
	var copies []store.Withdrawal
	if !c.Forget {
		if copies, err = copiesOf(st, hospital, entries); err != nil {
			return err
		}
	}
	for _, w := range told {
		text := fmt.Sprintf("%s (%s, reading %.12s): %d rows", w.File, w.Table, w.Reading, w.Rows)
		if w.First != "" {
			text += fmt.Sprintf(" of %s to %s", w.First, w.Last)
		}
		s.say("%s: %s", map[bool]string{true: "would go", false: "goes"}[c.DryRun], text)
	}
	for _, w := range copies {
		s.say("%s lies in the inbox with the same bytes: it is not taken in their place; thawline withdraw --forget %s would let the next ingest take it", w.File, w.File)
	}
	if refused != nil {
		s.say("without --yes this would be refused: %v", refused)
	}
	if !c.DryRun {
		if err := c.change(st, entries, lifted, copies); err != nil {
			return err
		}
		if err := c.follow(ctx, s, st, hospital); err != nil {
			return err
		}
	}
	for _, w := range lifted {
		s.say("%s: its withdrawal is lifted: thawline ingest takes it in where it lies in its place", w.File)
	}
	if c.JSON {
		return s.json(told)
	}
	return nil
}

// chosen finds what the arguments name: readings, and with --forget earlier
// withdrawals.
func (c *withdrawCommand) chosen(st *store.Store, hospital *site.Site) (entries []store.Entry, lifted []store.Withdrawal, err error) {
	const shortest = 6
	for _, word := range c.Export {
		var found []store.Entry
		for _, e := range st.Entries() {
			begins := func(hash string) bool { return len(word) >= shortest && strings.HasPrefix(hash, strings.ToLower(word)) }
			if e.File == word || begins(e.ID) || begins(e.SHA256) {
				found = append(found, e)
			}
		}
		var before []store.Withdrawal
		for _, w := range st.Withdrawn() {
			if w.File == word {
				before = append(before, w)
			}
		}
		switch {
		// One export may be read for several tables, or from several sheets.
		case slices.ContainsFunc(found, func(e store.Entry) bool { return e.SHA256 != found[0].SHA256 || e.File != found[0].File }):
			text := fmt.Sprintf("%s: %d exports in the store are meant: name the reading instead:", word, len(found))
			for _, e := range found {
				text += fmt.Sprintf("\n  %.12s  %s of %s, version %d, %d rows read, SHA-256 of its bytes %.12s", e.ID, e.File, e.Table, e.Version, e.Read, e.SHA256)
			}
			return nil, nil, usageError{errors.New(text)}
		case len(found) == 0 && len(before) > 0 && c.Forget:
			lifted = append(lifted, before...)
		case len(found) == 0 && len(before) > 0:
			return nil, nil, usageError{fmt.Errorf("%s: it is withdrawn already; --forget lets the next ingest take it in again", word)}
		case len(found) == 0:
			if of := readAs(st, hospital, word); of != "" {
				return nil, nil, usageError{fmt.Errorf("%s: it holds the same bytes as %s, under which name they were read: withdraw %s, and neither is taken in again", word, of, of)}
			}
			return nil, nil, usageError{fmt.Errorf("%s: no export in the store has this base name, and no reading this id: thawline status --files lists them", word)}
		default:
			entries = append(entries, found...)
		}
	}
	// What an older program read twice, under two names, would stay under the other.
	for _, e := range slices.Clone(entries) {
		for _, other := range st.Entries() {
			if other.Table == e.Table && other.SHA256 == e.SHA256 && other.Read > 0 {
				entries = append(entries, other)
			}
		}
	}
	slices.SortStableFunc(entries, func(a, b store.Entry) int { return strings.Compare(a.ID, b.ID) })
	return slices.CompactFunc(entries, func(a, b store.Entry) bool { return a.ID == b.ID }), lifted, nil
}

// copiesOf lists the files of the inbox that hold the same bytes as exports under
// other names: the next ingest would take them in their place.
func copiesOf(st *store.Store, hospital *site.Site, entries []store.Entry) (copies []store.Withdrawal, err error) {
	for _, e := range entries {
		r, readable := st.Reading(e.ID)
		if !readable || r.Read == 0 {
			continue
		}
		for _, path := range inbox(hospital, e.Table) {
			name := filepath.Base(path)
			if info, err := os.Stat(path); err != nil || info.Size() != r.Bytes || name == e.File {
				continue
			}
			hash, err := store.HashFile(path)
			if err != nil {
				return nil, err
			}
			w := store.Withdrawal{Table: e.Table, File: name, SHA256: hash, Bytes: r.Bytes, Read: r.Read}
			if hash == e.SHA256 && !slices.Contains(copies, w) {
				copies = append(copies, w)
			}
		}
	}
	return copies, nil
}

// readAs gives the name under which the bytes of a file of the inbox were read, where
// that is another one, or nothing.
func readAs(st *store.Store, hospital *site.Site, name string) string {
	for _, feed := range hospital.Feeds {
		for _, path := range inbox(hospital, feed.Table.Name) {
			if filepath.Base(path) != name {
				continue
			}
			hash, err := store.HashFile(path)
			for _, e := range st.Entries() {
				if err == nil && e.Table == feed.Table.Name && e.SHA256 == hash && e.File != name && e.Read > 0 {
					return e.File
				}
			}
		}
	}
	return ""
}

// inbox lists the files that the feeds of a table name.
func inbox(hospital *site.Site, table string) (paths []string) {
	for _, feed := range hospital.Feeds {
		if feed.Table.Name == table {
			found, _ := filepath.Glob(feed.Files) // A pattern that is none finds nothing; ingest says so.
			paths = append(paths, found...)
		}
	}
	return paths
}

// describe tells what the store holds of each.
func (c *withdrawCommand) describe(ctx context.Context, st *store.Store, hospital *site.Site, entries []store.Entry) ([]withdrawal, error) {
	told := []withdrawal{}
	for _, e := range entries {
		w := withdrawal{Table: e.Table, File: e.File, Date: e.Date, Reading: e.ID, Rows: e.Accepted}
		// Of a damaged reading no more is known than the manifest says.
		if r, readable := st.Reading(e.ID); readable && !damaged(st, e.ID) {
			var err error
			if w.First, w.Last, err = status.ReadingMonths(ctx, r, hospital.Zone); err != nil {
				return nil, err
			}
		}
		told = append(told, w)
	}
	return told, nil
}

func damaged(st *store.Store, reading string) bool {
	return slices.ContainsFunc(st.Damages(), func(d store.Damage) bool { return d.Reading == reading })
}

// stillThere refuses to withdraw what could not be taken in again, so that no
// slip of the hand loses records.
func (c *withdrawCommand) stillThere(st *store.Store, hospital *site.Site, entries []store.Entry) error {
	for _, e := range entries {
		r, readable := st.Reading(e.ID)
		if !readable || damaged(st, e.ID) {
			continue
		}
		path := filepath.FromSlash(r.Path)
		if !filepath.IsAbs(path) {
			path = filepath.Join(hospital.Dir, path)
		}
		info, err := os.Stat(path)
		there := err == nil && info.Size() == r.Bytes
		if there {
			hash, err := store.HashFile(path)
			there = err == nil && hash == r.SHA256
		}
		if !there {
			return usageError{fmt.Errorf("%s: what it was read from is no longer at %s, so that it could not be taken in again: put it there, or say --yes", e.File, r.Path)}
		}
	}
	return nil
}

// change makes the change in the store.
func (c *withdrawCommand) change(st *store.Store, entries []store.Entry, lifted, copies []store.Withdrawal) error {
	var ids []string
	for _, e := range entries {
		ids = append(ids, e.ID)
	}
	if c.Forget {
		if err := st.Forget(func(w store.Withdrawal) bool { return slices.Contains(lifted, w) }); err != nil {
			return err
		}
		return st.Retire(ids...)
	}
	return st.WithdrawWith(copies, ids...)
}

// follow brings current up to date, unless other files are damaged still.
func (c *withdrawCommand) follow(ctx context.Context, s *streams, st *store.Store, hospital *site.Site) error {
	if damages := st.Damages(); len(damages) > 0 {
		return &store.DamageError{Dir: st.Dir(), Damages: damages}
	}
	current, err := audit.Current(ctx, st, hospital)
	if err != nil {
		return err
	}
	for _, line := range current.Lines() {
		s.say("%s", line)
	}
	if !current.UpToDate {
		s.say("next: thawline mark; and thawline report again for each pack that shows these months")
	}
	return nil
}
