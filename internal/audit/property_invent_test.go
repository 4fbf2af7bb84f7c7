package audit

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"time"
)

// record is one row of a small hospital, invented its tables.
type (
	record   map[string]string
	invented map[string][]record
)

// inventor draws a small hospital full of edges: times on a grid of half hours,
// values on the limits, a good part of the facts missing.
type inventor struct {
	*rand.Rand
	tables invented
	prefix string
}

// propertyStart is the first day that a small hospital knows.
var propertyStart = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// coveredMonths are those in which the feeds of bleeding and medicines have rows
// of a patient without plasma: the others show nothing.
var coveredMonths = []time.Month{2, 3, 4, 5, 6, 7, 8, 9}

func pick[T any](v *inventor, from ...T) T { return from[v.IntN(len(from))] }

func (v *inventor) chance(share float64) bool { return v.Float64() < share }

func at(minute int) string {
	return propertyStart.Add(time.Duration(minute) * time.Minute).Format("2006-01-02 15:04:05")
}

func (v *inventor) add(table string, row record) {
	row["source_file"], row["source_row"] = v.prefix+table+".csv", fmt.Sprint(len(v.tables[table])+2)
	v.tables[table] = append(v.tables[table], row)
}

// near is a minute near another, mostly on the grid.
func (v *inventor) near(middle, before, after int) int {
	minute := middle - before + v.IntN(before+after+1)
	if v.chance(0.8) {
		minute -= minute % 30
	}
	return minute
}

func (v *inventor) issue(patient, component string, minute int, indication, volume string) {
	number := fmt.Sprintf("%sN%05d", v.prefix, len(v.tables["issues"]))
	code := map[string]string{"plasma": "F", "red_cells": "R"}[component]
	row := record{"unit_no": number, "product_code": code, "bag_code": code, "bag": number + "|" + code + "|", "is_batch": "false", "component": component,
		"patient_id": patient, "issued_at": at(minute), "issued_local": at(minute), "indication": indication, "volume_ml": volume, "nominal_ml": pick(v, "275", "275", ""),
		"fate": pick(v, "transfused", "transfused", "transfused", "transfused", "transfused", "presumed", "returned", "discarded", "unknown")}
	if component == "plasma" {
		row["product"] = "fresh_frozen"
	}
	if row["fate"] == "transfused" {
		row["started_at"], row["ended_at"] = pick(v, at(minute+10), at(minute+30), ""), pick(v, at(minute+60), at(minute+90), "")
		row["transfused_ml"] = pick(v, "", "", "", "100")
	}
	v.add("issues", row)
}

func (v *inventor) patient(number string) {
	t := v.IntN(300*24*60) + 20*24*60
	born := pick(v, "1950-03-01", "1950-03-01", "1981-07-09", "1999-12-31", "2014-05-05", "")
	if v.chance(0.05) {
		born = propertyStart.Add(time.Duration(t)*time.Minute).AddDate(0, 0, -pick(v, 3, 27, 29)).Format(time.DateOnly)
	}
	v.add("patients", record{"patient_id": number, "birth_date": born, "sex": pick(v, "F", "M", ""), "abo": pick(v, "A", "O", "")})
	told := pick(v, "", "bleeding", "procedure", "raised_inr", "other", "liver_disease", "anticoagulant_reversal", "factor_deficiency")
	for range pick(v, 1, 2, 2, 3, 4) {
		v.issue(number, "plasma", v.near(t, 0, 90), pick(v, told, told, told, ""), pick(v, "275", "250", "200", ""))
	}
	if v.chance(0.35) {
		for range pick(v, 1, 2, 3, 4) {
			v.issue(number, "red_cells", v.near(t, 400, 300), "", "")
		}
	}
	for minute := range v.times(0, 1, 1, 2) {
		v.add("measures", record{"patient_id": number, "kind": "weight", "measured_at": at(t - 60*minute - v.IntN(60)), "value": pick(v, "70", "80", "55", "110", "25", "3.2"), "method": pick(v, "measured", "stated")})
	}
	if v.chance(0.4) {
		v.add("measures", record{"patient_id": number, "kind": "height", "measured_at": at(t - 3000), "value": pick(v, "150", "165", "180"), "method": "measured"})
	}
	values := map[string][]string{"inr": {"1.2", "1.5", "1.6", "1.9", "2.6"}, "pt_ratio": {"1.2", "1.6", "2.1"}, "aptt_ratio": {"1.1", "1.6", "1.9"},
		"fibrinogen": {"0.9", "1.4", "2.2"}, "hb": {"65", "85", "105"}, "platelets": {"20", "150"}, "viscoelastic": {"60", "95"}}
	for _, test := range slices.Sorted(maps.Keys(values)) {
		for i := range v.times(0, 0, 1, 1, 2) {
			// A minute of its own: in the layer current a key stands once.
			minute := v.near(t, 1200, 500) + i
			v.add("labs", record{"patient_id": number, "test": test, "collected_at": at(minute), "resulted_at": pick(v, at(minute+40), ""), "value": pick(v, values[test]...),
				"bound": pick(v, "", "", "", "", "", "", "<", ">"), "point_of_care": "false", "status": "final"})
		}
	}
	for _, e := range []struct {
		kind   string
		share  float64
		detail []string
	}{{"bleeding", 0.25, []string{"major", "minor", ""}}, {"procedure", 0.35, []string{"high", "low", ""}}, {"activation", 0.04, []string{""}},
		{"diagnosis", 0.15, []string{"liver_disease", "ttp"}}, {"reaction", 0.15, []string{"allergic", "overload"}}} {
		if v.chance(e.share) {
			minute := v.near(t, 600, 400)
			v.add("events", record{"patient_id": number, "kind": e.kind, "detail": pick(v, e.detail...), "at": at(minute), "until": pick(v, "", at(minute+60))})
		}
	}
	for _, medicine := range []string{"vitamin_k_antagonist", "heparin", "prothrombin_complex"} {
		if v.chance(0.15) {
			v.add("medicines", record{"patient_id": number, "medicine": medicine, "given_at": at(v.near(t, 1200, 300))})
		}
	}
}

// times counts from nothing to one of the numbers.
func (v *inventor) times(from ...int) int { return pick(v, from...) }

// small invents a hospital of patients whose numbers begin with prefix. Whether
// feeds would have shown bleeding and medicines rests on a patient without plasma.
func small(seed uint64, prefix string, patients int) invented {
	v := &inventor{rand.New(rand.NewPCG(seed, 3)), invented{}, prefix}
	for i := range patients {
		v.patient(fmt.Sprintf("%s%03d", prefix, i))
	}
	for _, month := range coveredMonths {
		first := time.Date(2025, month, 1, 12, 0, 0, 0, time.UTC).Format("2006-01-02 15:04:05")
		v.add("events", record{"patient_id": prefix + "without plasma", "kind": "bleeding", "at": first})
		v.add("medicines", record{"patient_id": prefix + "without plasma", "medicine": "heparin", "given_at": first})
	}
	return v.tables
}

// keep is a hospital with those rows alone that a test keeps.
func (h invented) keep(stays func(table string, row record) bool) invented {
	out := invented{}
	for table, rows := range h {
		out[table] = slices.DeleteFunc(slices.Clone(rows), func(row record) bool { return !stays(table, row) })
	}
	return out
}

// without takes whole feeds away.
func (h invented) without(feeds ...string) invented {
	out := maps.Clone(h)
	for _, feed := range feeds {
		delete(out, feed)
	}
	return out
}

// change is a hospital with each row rewritten.
func (h invented) change(rewrite func(table string, row record)) invented {
	out := invented{}
	for table, rows := range h {
		for _, row := range rows {
			row = maps.Clone(row)
			rewrite(table, row)
			out[table] = append(out[table], row)
		}
	}
	return out
}
