package audit

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"

	"thawline/internal/contract"
	"thawline/internal/engine"
	"thawline/internal/store"
)

// Patients have no time by which their file could be parted. A month's register
// tells of a few among many: the rows of those are resolved, and those of all
// others are taken over from the file as it stands.

// mayMerge says that the file of patients can be made from the one that stands:
// readings have come, none has gone, and none stands elsewhere among the others.
func (b *builder) mayMerge(kept store.File, found bool) bool {
	t := contract.Patients.Name
	return found && b.old.Made != "" && len(b.old.Readings[t]) > 0 && stillInOrder(b.old.Readings[t], b.places) && whole(kept)
}

// stillInOrder says that all of those readings are there still, in the order in
// which they are given: a version of a name may have become its newest.
func stillInOrder(ids []string, places map[string]int) bool {
	last := -1
	for _, id := range ids {
		at, there := places[id]
		if !there || at < last {
			return false
		}
		last = at
	}
	return true
}

// mergePatients writes the file of patients from the one that stands, and gives
// what became of the rows told.
func (b *builder) mergePatients(ctx context.Context, e *engine.Engine, dir string, kept store.File) (partRows, error) {
	t := contract.Patients
	if err := b.patientsTouched(ctx, e); err != nil {
		return partRows{}, err
	}
	numbers, err := numbersIn(ctx, e, "numbers_touched", "patient_id")
	if err != nil {
		return partRows{}, err
	}
	// The rows that the patients concerned had, and those that they have now.
	before, now := partRows{}, partRows{}
	for _, half := range []struct {
		name string
		rows *partRows
		ends string
		ids  []string
	}{{"told_before", &before, "ends_before", b.old.Readings[t.Name]}, {"told_now", &now, "main.alias_ends", b.made.Readings[t.Name]}} {
		var files []string
		for _, r := range b.readings {
			if path := r.FilePath(t.Name); path != "" && slices.Contains(half.ids, r.ID) {
				if tells, _ := r.Tells(numbers, nil); tells {
					files = append(files, path)
				}
			}
		}
		if err := e.View(ctx, half.name, t.SourceColumns(), files, "reading_file"); err != nil {
			return partRows{}, err
		}
		err := e.Exec(ctx, "patients touched", `
CREATE OR REPLACE TABLE alias_ends AS SELECT * FROM `+half.ends+`;
CREATE OR REPLACE VIEW source_patients AS SELECT * FROM `+half.name+` WHERE patient_id IN (SELECT patient_id FROM numbers_touched)`)
		if err == nil {
			err = Run(ctx, e, b.groups[t.Name])
		}
		if err != nil {
			return partRows{}, err
		}
		gone, err := b.gone(ctx, e, t, "0", "true")
		if err != nil {
			return partRows{}, err
		}
		*half.rows = gone[0]
	}
	rows := b.old.Whole[t.Name]
	rows.Superseded += now.Superseded - before.Superseded
	rows.Cancelled += now.Cancelled - before.Cancelled
	f, err := b.writeMerged(ctx, e, dir, t, kept)
	rows.Current = f.Rows
	return rows, err
}

// patientsTouched makes the tables patients_touched, of those whose row may be
// another now, and numbers_touched, of all numbers by which these go or went.
func (b *builder) patientsTouched(ctx context.Context, e *engine.Engine) error {
	t := contract.Patients
	fresh := []string{"SELECT alias AS patient_id FROM changed_aliases"}
	for _, r := range b.readings {
		if path := r.FilePath(t.Name); path != "" && !slices.Contains(b.old.Readings[t.Name], r.ID) {
			fresh = append(fresh, "SELECT patient_id FROM "+readParquet([]string{path}))
		}
	}
	return e.Exec(ctx, "patients touched", `
CREATE OR REPLACE TABLE ends_before AS SELECT alias, patient_id FROM aliases_before WHERE alias <> patient_id;
CREATE OR REPLACE TABLE told_anew AS `+union(fresh)+`;
CREATE OR REPLACE TABLE patients_touched AS
SELECT coalesce(ends.patient_id, told_anew.patient_id) AS patient_id FROM told_anew LEFT JOIN main.alias_ends AS ends ON ends.alias = told_anew.patient_id
UNION
SELECT coalesce(ends.patient_id, told_anew.patient_id) FROM told_anew LEFT JOIN ends_before AS ends ON ends.alias = told_anew.patient_id;
CREATE OR REPLACE TABLE numbers_touched AS
SELECT patient_id FROM patients_touched
UNION
SELECT alias FROM main.alias_ends WHERE patient_id IN (SELECT patient_id FROM patients_touched)
UNION
SELECT alias FROM ends_before WHERE patient_id IN (SELECT patient_id FROM patients_touched)`)
}

// numbersIn are the texts of a table's column, as numbers to look for.
func numbersIn(ctx context.Context, e *engine.Engine, table, column string) (*store.Numbers, error) {
	numbers := &store.Numbers{}
	for record, err := range e.Records(ctx, table, "SELECT "+engine.Name(column)+" FROM "+engine.Name(table)) {
		if err != nil {
			return nil, err
		}
		numbers.AddAll(record.Column(0))
	}
	return numbers, nil
}

// writeMerged writes the rows of the file as it stands, those of patients_touched
// left out, and of the table patients, in order of their number.
func (b *builder) writeMerged(ctx context.Context, e *engine.Engine, dir string, t *contract.Table, kept store.File) (store.File, error) {
	_, rows, err := e.Rows(ctx, "patients touched", "SELECT patient_id FROM patients_touched")
	if err != nil {
		return store.File{}, err
	}
	touched := map[string]bool{}
	for _, row := range rows {
		touched[row[0].(string)] = true
	}
	anew, release, err := e.Whole(ctx, "current "+t.Name, "SELECT * FROM "+engine.Name(t.Name)+" ORDER BY patient_id")
	if err != nil {
		return store.File{}, err
	}
	defer release()
	w, err := store.NewWriter(filepath.Join(dir, t.Name+".parquet"), t, t.Columns, standTogether(t)...)
	if err != nil {
		return store.File{}, err
	}
	defer w.Abort()
	m := merging{to: w, anew: anew, touched: touched}
	if anew != nil {
		if m.ids, err = idsOf(anew); err != nil {
			return store.File{}, err
		}
	}
	if err := e.View(ctx, "patients_before", t.Columns, []string{kept.Path}, ""); err != nil {
		return store.File{}, err
	}
	for record, err := range e.Records(ctx, "current "+t.Name, "SELECT * FROM patients_before") {
		if err == nil {
			err = m.take(record)
		}
		if err != nil {
			return store.File{}, err
		}
	}
	if err := m.before("", true); err != nil {
		return store.File{}, err
	}
	f, err := w.Close()
	if err == nil {
		b.put(f)
	}
	return f, err
}

// idsOf is the column of a record's patient numbers.
func idsOf(record arrow.Record) (*array.String, error) {
	for i, f := range record.Schema().Fields() {
		if ids, found := record.Column(i).(*array.String); found && f.Name == "patient_id" {
			return ids, nil
		}
	}
	return nil, fmt.Errorf("patients have no patient_id")
}

// merging writes two ordered sources of patients as one.
type merging struct {
	to *store.Writer
	// anew are the rows made anew, of which the first next are written.
	anew arrow.Record
	ids  *array.String
	next int
	// touched are the patients whose rows of before are left out.
	touched map[string]bool
}

// before writes the rows made anew that come before a number, or all.
func (m *merging) before(number string, all bool) error {
	from := m.next
	for m.ids != nil && m.next < m.ids.Len() && (all || m.ids.Value(m.next) < number) {
		m.next++
	}
	return m.write(m.anew, from, m.next)
}

// take writes rows of before, and in their place rows made anew.
func (m *merging) take(record arrow.Record) error {
	ids, err := idsOf(record)
	if err != nil {
		return err
	}
	from := 0
	for i := range ids.Len() {
		id := ids.Value(i)
		out, comes := m.touched[id], m.ids != nil && m.next < m.ids.Len() && m.ids.Value(m.next) < id
		if !out && !comes {
			continue
		}
		if err := m.write(record, from, i); err != nil {
			return err
		}
		from = i
		if out {
			from++
		}
		if err := m.before(id, false); err != nil {
			return err
		}
	}
	return m.write(record, from, ids.Len())
}

// write writes rows of a record up to, but not including, to.
func (m *merging) write(record arrow.Record, from, to int) error {
	if from == to {
		return nil
	}
	slice := record.NewSlice(int64(from), int64(to))
	defer slice.Release()
	return m.to.Write(slice)
}
