package fhir

import (
	"strings"

	"thawline/internal/read/row"
)

// Observations that tell a patient's blood group, by LOINC: "ABO group [Type] in
// Blood", "ABO and Rh group [Type] in Blood", "Rh [Type] in Blood". A
// panel of them holds them as components.
const (
	aboGroup = "883-9"
	aboAndRh = "882-1"
	rhGroup  = "10331-7"
)

// aboAnswers are published answers that name an ABO group, rhAnswers those that
// name an RhD group: the LOINC answer lists LL2419-1 and LL360-9, and the SNOMED
// CT findings of the value set eHDSIBloodGroup, those of RhD alone, and the
// qualifiers of positive and negative.
var (
	aboAnswers = map[string]string{
		"LA19710-5": "A", "LA19709-7": "B", "LA28449-9": "AB", "LA19708-9": "O",
		"112144000": "A", "112149005": "B", "165743006": "AB", "58460004": "O",
		"278149003": "A", "278152006": "A", "278150003": "B", "278153001": "B",
		"278151004": "AB", "278154007": "AB", "278147001": "O", "278148006": "O",
	}
	rhAnswers = map[string]string{
		"LA6576-8": "positive", "LA6577-6": "negative",
		"165747007": "positive", "165746003": "negative", "10828004": "positive", "260385009": "negative",
		"278149003": "positive", "278150003": "positive", "278151004": "positive", "278147001": "positive",
		"278152006": "negative", "278153001": "negative", "278154007": "negative", "278148006": "negative",
	}
)

// answerCodes are answers as a map of codes has them: in lower case.
func answerCodes(answers map[string]string) map[string]string {
	lower := map[string]string{}
	for code, word := range answers {
		lower[strings.ToLower(code)] = word
	}
	return lower
}

// answer gives what a measurement says of one of the two groups: the published
// code that names it, nothing where its codes name the other group alone, else
// the site's own code or text, which goes through its map.
func (m measurement) answer(answers, others map[string]string) string {
	if m.ValueConcept == nil {
		value, _ := m.value()
		return value
	}
	ofOther := false
	for _, k := range m.ValueConcept.Coding {
		if k.System != loincSystem && k.System != snomedSystem {
			continue
		}
		if answers[k.Code] != "" {
			return k.Code
		}
		ofOther = ofOther || others[k.Code] != ""
	}
	if ofOther {
		return ""
	}
	return m.ValueConcept.code()
}

// group makes a row of patients from an Observation of the blood group.
func (e *Export) group(text []byte) []row.Row {
	var o observation
	if faults := into(text, &o); faults != nil {
		return faults
	}
	abo, rhd, is := "", "", false
	for _, m := range o.measurements() {
		switch {
		case m.Code.has(loincSystem, aboAndRh):
			abo, rhd, is = first(abo, m.answer(aboAnswers, rhAnswers)), first(rhd, m.answer(rhAnswers, aboAnswers)), true
		case m.Code.has(loincSystem, aboGroup):
			abo, is = first(m.answer(aboAnswers, nil), abo), true
		case m.Code.has(loincSystem, rhGroup):
			rhd, is = first(m.answer(rhAnswers, nil), rhd), true
		}
	}
	switch {
	case !is:
		return other("observation", o.Code.code())
	case abo == "" && rhd == "":
		return other("observation", "without a blood group")
	}
	return []row.Row{e.fill(map[string]string{"patient_id": e.o.patient(o.Subject), "abo": abo, "rhd": rhd, "status": o.Status})}
}
