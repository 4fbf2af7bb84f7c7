package fhir

import (
	"strings"

	"thawline/internal/read/row"
)

type person struct {
	ID         string       `json:"id"`
	Identifier []identifier `json:"identifier"`
	BirthDate  string       `json:"birthDate"`
	Gender     string       `json:"gender"`
	Deceased   string       `json:"deceasedDateTime"`
	Link       []struct {
		Other reference `json:"other"`
		Type  string    `json:"type"`
	} `json:"link"`
}

// patient makes a row of patients, under the number that the site states, else
// under the logical id, as other resources name the patient.
func (e *Export) patient(text []byte) []row.Row {
	var p person
	if faults := into(text, &p); faults != nil {
		return faults
	}
	id := p.ID
	if e.o.chooses() {
		id, _ = e.o.number(p.Identifier)
	}
	sex := p.Gender
	if sex == "unknown" {
		sex = ""
	}
	return []row.Row{e.fill(map[string]string{"patient_id": id, "birth_date": p.BirthDate, "sex": sex})}
}

// alias makes rows of aliases: the logical id is an alias of the patient's
// number, and what was replaced is one of what replaced it. The number of one
// that was replaced waits for the end of the file.
func (e *Export) alias(text []byte) []row.Row {
	var p person
	if faults := into(text, &p); faults != nil {
		return faults
	}
	number, says := e.o.number(p.Identifier)
	if says != "" {
		return fault(says)
	}
	var rows []row.Row
	add := func(alias, id string) {
		if alias != "" && id != "" && alias != id {
			rows = append(rows, e.fill(map[string]string{"alias": alias, "patient_id": id}))
		}
	}
	replaced, held := "", len(e.merged.held)
	for _, link := range p.Link {
		switch to := link.Other.id("Patient"); link.Type {
		case "replaced-by":
			replaced = first(replaced, to)
			add(p.ID, to)
			if number != "" && to != "" && number != to {
				e.merged.held = append(e.merged.held, heldAlias{place: e.place, number: number, other: to})
			}
		case "replaces":
			add(to, p.ID)
		}
	}
	if replaced == "" {
		add(p.ID, number)
	}
	if p.ID != "" {
		if e.merged.people == nil {
			e.merged.people = map[string]bearer{}
		}
		e.merged.people[p.ID] = bearer{number, replaced}
	}
	switch {
	case rows != nil:
	case len(e.merged.held) > held:
		e.merged.held[len(e.merged.held)-1].alone = true
	default:
		return withoutNumber()
	}
	return rows
}

// death makes a row of events of a patient who died at a known time.
func (e *Export) death(text []byte) []row.Row {
	var p person
	if faults := into(text, &p); faults != nil {
		return faults
	}
	if p.Deceased == "" {
		return other("patient", "without a time of death")
	}
	id := p.ID
	if e.o.chooses() {
		id, _ = e.o.number(p.Identifier)
	}
	return []row.Row{e.fill(map[string]string{"patient_id": id, "kind": "death", "at": p.Deceased})}
}

// action is what is read of a Procedure.
type action struct {
	Status            string      `json:"status"`
	Category          concept     `json:"category"`
	Code              concept     `json:"code"`
	Subject           reference   `json:"subject"`
	PerformedDateTime string      `json:"performedDateTime"`
	PerformedPeriod   period      `json:"performedPeriod"`
	UsedReference     []reference `json:"usedReference"`
	Contained         []contained `json:"contained"`
}

// surgical is the category of a surgical procedure (the example value set of
// Procedure.category).
const surgical = "387713003"

// procedure makes a row of events from a Procedure. Its code says what it is by
// the site's map; a surgical one that is in no map is a procedure.
func (e *Export) procedure(text []byte) []row.Row {
	var p action
	if faults := into(text, &p); faults != nil {
		return faults
	}
	kind := ""
	if p.Category.has(snomedSystem, surgical) {
		kind = "procedure"
	}
	code := p.Code.code()
	return []row.Row{e.fill(map[string]string{"patient_id": e.o.patient(p.Subject), "kind": code, "kind_else": kind, "detail_raw": code,
		"at": first(p.PerformedDateTime, p.PerformedPeriod.Start), "until": p.PerformedPeriod.End, "status": p.Status})}
}

// condition makes a row of events from a Condition. Its code may be another kind
// of event by the site's map; one in no map is a diagnosis. One that is not
// confirmed is none.
func (e *Export) condition(text []byte) []row.Row {
	var c struct {
		VerificationStatus concept   `json:"verificationStatus"`
		Code               concept   `json:"code"`
		Subject            reference `json:"subject"`
		OnsetDateTime      string    `json:"onsetDateTime"`
		OnsetPeriod        period    `json:"onsetPeriod"`
		AbatementDateTime  string    `json:"abatementDateTime"`
		RecordedDate       string    `json:"recordedDate"`
	}
	if faults := into(text, &c); faults != nil {
		return faults
	}
	status := c.VerificationStatus.code()
	switch status {
	case "unconfirmed", "provisional", "differential":
		return other("verification", status)
	}
	code := c.Code.code()
	return []row.Row{e.fill(map[string]string{"patient_id": e.o.patient(c.Subject), "kind": code, "kind_else": "diagnosis", "detail_raw": code,
		"at": first(c.OnsetDateTime, c.OnsetPeriod.Start, c.RecordedDate), "until": c.AbatementDateTime, "status": status})}
}

// adverse makes a row of events from an AdverseEvent whose code the site maps.
func (e *Export) adverse(text []byte) []row.Row {
	var a struct {
		Actuality string    `json:"actuality"`
		Event     concept   `json:"event"`
		Subject   reference `json:"subject"`
		Date      string    `json:"date"`
	}
	if faults := into(text, &a); faults != nil {
		return faults
	}
	if a.Actuality == "potential" {
		return other("actuality", a.Actuality)
	}
	code := a.Event.code()
	return []row.Row{e.fill(map[string]string{"patient_id": e.o.patient(a.Subject), "kind": code, "detail_raw": code, "at": a.Date})}
}

// medicine makes a row of medicines from a MedicationAdministration.
func (e *Export) medicine(text []byte) []row.Row {
	var m struct {
		Status              string      `json:"status"`
		MedicationConcept   concept     `json:"medicationCodeableConcept"`
		MedicationReference reference   `json:"medicationReference"`
		Subject             reference   `json:"subject"`
		EffectiveDateTime   string      `json:"effectiveDateTime"`
		EffectivePeriod     period      `json:"effectivePeriod"`
		Contained           []contained `json:"contained"`
	}
	if faults := into(text, &m); faults != nil {
		return faults
	}
	code := m.MedicationConcept.code()
	if code == "" {
		r := m.MedicationReference
		code = first(find(m.Contained, r).Code.code(), r.Identifier.Value, r.id("Medication"), r.Display)
	}
	return []row.Row{e.fill(map[string]string{"patient_id": e.o.patient(m.Subject), "medicine": code,
		"given_at": first(m.EffectiveDateTime, m.EffectivePeriod.Start), "status": m.Status})}
}

// contained is what is read of a resource inside another: a Medication, a
// BiologicallyDerivedProduct or a ServiceRequest.
type contained struct {
	ID           string       `json:"id"`
	ResourceType string       `json:"resourceType"`
	Code         concept      `json:"code"`
	ProductCode  concept      `json:"productCode"`
	Identifier   []identifier `json:"identifier"`
	AuthoredOn   string       `json:"authoredOn"`
	Requester    reference    `json:"requester"`
	ReasonCode   []concept    `json:"reasonCode"`
}

// find gives the contained resource to which a reference points, or an empty one.
func find(all []contained, r reference) contained {
	if id, local := strings.CutPrefix(r.Reference, "#"); local {
		for _, c := range all {
			if c.ID == id {
				return c
			}
		}
	}
	return contained{}
}

// product gives a unit's donation number and product code: those of a contained
// BiologicallyDerivedProduct, else of the reference alone.
func product(all []contained, r reference) (unit, code string, found bool) {
	p := find(all, r)
	if p.ResourceType == "BiologicallyDerivedProduct" {
		if len(p.Identifier) > 0 {
			unit = p.Identifier[0].Value
		}
		return unit, p.ProductCode.code(), true
	}
	if r.Type == "BiologicallyDerivedProduct" && r.Identifier.Value != "" {
		return r.Identifier.Value, "", true
	}
	return "", "", false
}

// delivery makes a row of issues from a SupplyDelivery of a blood product.
func (e *Export) delivery(text []byte) []row.Row {
	var d struct {
		Status       string      `json:"status"`
		Patient      reference   `json:"patient"`
		BasedOn      []reference `json:"basedOn"`
		Occurrence   string      `json:"occurrenceDateTime"`
		Period       period      `json:"occurrencePeriod"`
		Destination  reference   `json:"destination"`
		Contained    []contained `json:"contained"`
		SuppliedItem struct {
			Quantity *quantity `json:"quantity"`
			Concept  concept   `json:"itemCodeableConcept"`
			Item     reference `json:"itemReference"`
		} `json:"suppliedItem"`
	}
	if faults := into(text, &d); faults != nil {
		return faults
	}
	unit, code, found := product(d.Contained, d.SuppliedItem.Item)
	if !found {
		return other("supplied", first(d.SuppliedItem.Concept.code(), "no blood product"))
	}
	if d.Status == "abandoned" || d.Status == "in-progress" {
		return other("delivery_status", d.Status)
	}
	var request contained
	if len(d.BasedOn) > 0 {
		request = find(d.Contained, d.BasedOn[0])
	}
	volume := ""
	if q := d.SuppliedItem.Quantity; q != nil && strings.EqualFold(q.unitCode(), "mL") {
		volume = string(q.Value)
	}
	var why concept
	if len(request.ReasonCode) > 0 {
		why = request.ReasonCode[0]
	}
	return []row.Row{e.fill(map[string]string{"unit_no": unit, "product_code": first(code, d.SuppliedItem.Concept.code()), "volume_ml": volume, "patient_id": e.o.patient(d.Patient),
		"location": first(d.Destination.Display, d.Destination.id("Location")), "requester": first(request.Requester.id("Practitioner"), request.Requester.Display),
		"indication": why.code(), "indication_raw": why.words(), "requested_at": request.AuthoredOn, "issued_at": first(d.Occurrence, d.Period.Start), "status": d.Status})}
}

// transfusion makes a row of bedside from a Procedure in which a blood product
// was used.
func (e *Export) transfusion(text []byte) []row.Row {
	var p action
	if faults := into(text, &p); faults != nil {
		return faults
	}
	var rows []row.Row
	for _, used := range p.UsedReference {
		unit, code, found := product(p.Contained, used)
		if !found {
			continue
		}
		if p.Status == "preparation" || p.Status == "not-done" {
			return other("procedure_status", p.Status)
		}
		rows = append(rows, e.fill(map[string]string{"unit_no": unit, "product_code": code, "patient_id": e.o.patient(p.Subject),
			"started_at": first(p.PerformedPeriod.Start, p.PerformedDateTime), "ended_at": p.PerformedPeriod.End, "status": p.Status}))
	}
	if rows == nil {
		return other("procedure", first(p.Code.code(), "without a blood product"))
	}
	return rows
}
