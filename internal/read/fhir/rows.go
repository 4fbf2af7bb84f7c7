package fhir

import (
	"strings"

	"thawline/internal/contract"
	"thawline/internal/read/row"
)

// columns are the names of the cells that resources give, by table.
var columns = map[*contract.Table][]string{
	contract.Issues:    {"unit_no", "product_code", "volume_ml", "patient_id", "location", "requester", "indication", "indication_raw", "requested_at", "issued_at", "status"},
	contract.Bedside:   {"unit_no", "product_code", "patient_id", "started_at", "ended_at", "status"},
	contract.Labs:      {"result_id", "patient_id", "test", "loinc", "code_names", "value_raw", "bound", "unit_raw", "no_value", "point_of_care", "collected_at", "resulted_at", "status"},
	contract.Measures:  {"patient_id", "kind", "loinc", "code_names", "value_raw", "unit_raw", "measured_at", "status"},
	contract.Events:    {"patient_id", "kind", "kind_else", "detail_raw", "at", "until", "status"},
	contract.Medicines: {"patient_id", "medicine", "given_at", "status"},
	contract.Patients:  {"patient_id", "birth_date", "sex"},
	contract.Aliases:   {"alias", "patient_id"},
}

// readers take a resource apart, by table and type.
var readers map[*contract.Table]map[string]func(*Export, []byte) []row.Row

func init() { // A map of functions that look at the map would be a loop.
	type byType = map[string]func(*Export, []byte) []row.Row
	readers = map[*contract.Table]byType{
		contract.Issues:    {"SupplyDelivery": (*Export).delivery},
		contract.Bedside:   {"Procedure": (*Export).transfusion},
		contract.Labs:      {"Observation": (*Export).result},
		contract.Measures:  {"Observation": (*Export).measure},
		contract.Events:    {"Procedure": (*Export).procedure, "Condition": (*Export).condition, "AdverseEvent": (*Export).adverse, "Patient": (*Export).death},
		contract.Medicines: {"MedicationAdministration": (*Export).medicine},
		contract.Patients:  {"Patient": (*Export).patient},
		contract.Aliases:   {"Patient": (*Export).alias},
	}
}

// fill makes a row of texts by name.
func (e *Export) fill(texts map[string]string) row.Row {
	c := e.sheet.Cells()
	for name, text := range texts {
		if text != "" {
			c.Set(name, []byte(text))
		}
	}
	return row.Row{Cells: c.Texts}
}

// observation is what is read of an Observation, and of its components.
type observation struct {
	ID                string    `json:"id"`
	Status            string    `json:"status"`
	Category          []concept `json:"category"`
	Subject           reference `json:"subject"`
	Issued            string    `json:"issued"`
	EffectiveDateTime string    `json:"effectiveDateTime"`
	EffectiveInstant  string    `json:"effectiveInstant"`
	EffectivePeriod   period    `json:"effectivePeriod"`
	measurement
	Component []measurement `json:"component"`
}

type measurement struct {
	Code             concept   `json:"code"`
	ValueQuantity    *quantity `json:"valueQuantity"`
	ValueString      string    `json:"valueString"`
	ValueConcept     *concept  `json:"valueCodeableConcept"`
	ValueInteger     number    `json:"valueInteger"`
	DataAbsentReason *concept  `json:"dataAbsentReason"`
	Interpretation   []concept `json:"interpretation"`
}

// value gives a value as written, and its unit. Values of other types (ranges,
// ratios, times) are no results of these tests, and give none.
func (m measurement) value() (value, unit string) {
	switch {
	case m.ValueQuantity != nil:
		return m.ValueQuantity.number(), m.ValueQuantity.unitCode()
	case m.ValueInteger != "":
		return string(m.ValueInteger), ""
	case m.ValueString != "":
		return m.ValueString, ""
	case m.ValueConcept != nil:
		return m.ValueConcept.words(), ""
	}
	return "", ""
}

func (m measurement) empty() bool {
	value, _ := m.value()
	return value == "" && m.DataAbsentReason == nil
}

// interpretationSystem holds < and >, off the scale of the analyser.
const interpretationSystem = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"

func (m measurement) bound() string {
	for _, c := range m.Interpretation {
		for _, sign := range []string{"<", ">"} {
			if c.has(interpretationSystem, sign) {
				return sign
			}
		}
	}
	return ""
}

func (o *observation) at() string {
	return first(o.EffectiveDateTime, o.EffectiveInstant, o.EffectivePeriod.Start)
}

// measurements are the observation's own, unless it is a heading of its
// components alone, and those of its components.
func (o *observation) measurements() []measurement {
	if len(o.Component) == 0 || !o.empty() {
		return append([]measurement{o.measurement}, o.Component...)
	}
	return o.Component
}

// pointOfCare gives the category that may say that a result is from the bedside.
// R4 has no code for that: what is of neither published system is the site's own.
func (o *observation) pointOfCare() string {
	for _, c := range o.Category {
		for _, k := range c.Coding {
			if !strings.HasPrefix(k.System, "http://terminology.hl7.org/CodeSystem/observation-category") && k.System != "http://terminology.hl7.org/CodeSystem/v2-0074" {
				return k.Code
			}
		}
	}
	return ""
}

func (e *Export) result(text []byte) []row.Row {
	var o observation
	if faults := into(text, &o); faults != nil {
		return faults
	}
	var rows []row.Row
	for _, m := range o.measurements() {
		code, loinc, names := m.Code.codes()
		value, unit := m.value()
		absent := ""
		if m.DataAbsentReason != nil {
			absent = first(m.DataAbsentReason.Text, m.DataAbsentReason.code())
		}
		rows = append(rows, e.fill(map[string]string{"result_id": o.ID, "patient_id": e.o.patient(o.Subject), "test": code, "loinc": loinc, "code_names": names,
			"value_raw": value, "unit_raw": unit, "bound": m.bound(), "no_value": absent, "point_of_care": o.pointOfCare(),
			"collected_at": o.at(), "resulted_at": o.Issued, "status": o.Status}))
	}
	return rows
}

func (e *Export) measure(text []byte) []row.Row {
	var o observation
	if faults := into(text, &o); faults != nil {
		return faults
	}
	var rows []row.Row
	for _, m := range o.measurements() {
		code, loinc, names := m.Code.codes()
		value, unit := m.value()
		rows = append(rows, e.fill(map[string]string{"patient_id": e.o.patient(o.Subject), "kind": code, "loinc": loinc, "code_names": names,
			"value_raw": value, "unit_raw": unit, "measured_at": o.at(), "status": o.Status}))
	}
	return rows
}
