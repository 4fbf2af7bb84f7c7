package fhir

import (
	"encoding/json"
	"reflect"
	"strings"
)

// The elements of R4 that are read; all others are passed over.

type coding struct {
	System  string `json:"system"`
	Code    string `json:"code"`
	Display string `json:"display"`
}

type concept struct {
	Coding []coding `json:"coding"`
	Text   string   `json:"text"`
}

type quantity struct {
	Value      number `json:"value"`
	Comparator string `json:"comparator"`
	Unit       string `json:"unit"`
	System     string `json:"system"`
	Code       string `json:"code"`
}

type period struct {
	Start string `json:"start"`
	End   string `json:"end"`
}

type identifier struct {
	Type   concept `json:"type"`
	System string  `json:"system"`
	Value  string  `json:"value"`
	Use    string  `json:"use"`
}

type reference struct {
	Reference  string     `json:"reference"`
	Type       string     `json:"type"`
	Identifier identifier `json:"identifier"`
	Display    string     `json:"display"`
}

// Systems of codes.
const (
	loincSystem  = "http://loinc.org"
	ucumSystem   = "http://unitsofmeasure.org"
	snomedSystem = "http://snomed.info/sct"
)

// codes gives the first code that is not of LOINC, the one that is, and the
// names beside them. Where there is none but of LOINC, that is both; where there
// is none at all, the text stands for it.
func (c concept) codes() (code, loinc, names string) {
	var all []string
	for _, k := range c.Coding {
		switch {
		case k.System == loincSystem && loinc == "":
			loinc = k.Code
		case code == "":
			code = k.Code
		}
		if k.Display != "" {
			all = append(all, k.Display)
		}
	}
	if c.Text != "" {
		all = append(all, c.Text)
	}
	names = strings.Join(all, "; ")
	for _, other := range []string{loinc, c.Text} {
		if code == "" {
			code = other
		}
	}
	return code, loinc, names
}

// code gives the first code, else the text.
func (c concept) code() string {
	code, _, _ := c.codes()
	return code
}

// words gives the text, else the first name, else the first code.
func (c concept) words() string {
	if c.Text != "" {
		return c.Text
	}
	for _, k := range c.Coding {
		if k.Display != "" {
			return k.Display
		}
	}
	return c.code()
}

// has reports whether one of the codes is code of system.
func (c concept) has(system, code string) bool {
	for _, k := range c.Coding {
		if k.System == system && k.Code == code {
			return true
		}
	}
	return false
}

// number is a number as written; one in quotes, which R4 does not have, too.
type number string

// UnmarshalJSON implements json.Unmarshaler.
func (n *number) UnmarshalJSON(text []byte) error {
	switch c := text[0]; {
	case c == '"':
		return json.Unmarshal(text, (*string)(n))
	case c == '-' || c >= '0' && c <= '9':
		*n = number(text)
	case string(text) != "null":
		return &json.UnmarshalTypeError{Value: "no number", Type: reflect.TypeFor[number]()}
	}
	return nil
}

// number gives the value with its comparator, as written.
func (q *quantity) number() string {
	return q.Comparator + string(q.Value)
}

// unitCode gives the unit by UCUM, else as it is printed, else by another code.
func (q *quantity) unitCode() string {
	if q.System == ucumSystem && q.Code != "" || q.Unit == "" {
		return q.Code
	}
	return q.Unit
}

// id gives the logical id of the resource of a type to which a reference points:
// Patient/7, with or without an address before and a version after it, or
// urn:uuid:7. It is empty for another type and for a contained resource.
func (r reference) id(resource string) string {
	if id, found := strings.CutPrefix(r.Reference, "urn:uuid:"); found {
		return id
	}
	path, _, _ := strings.Cut(r.Reference, "/_history/")
	parts := strings.Split(path, "/")
	if len(parts) < 2 || parts[len(parts)-2] != resource {
		return ""
	}
	return parts[len(parts)-1]
}

// meant reports whether an identifier is of the type and authority that the
// site states.
func (o Options) meant(i identifier) bool {
	if i.Value == "" || o.IDAuthority != "" && i.System != o.IDAuthority {
		return false
	}
	if o.IDType == "" {
		return true
	}
	for _, k := range i.Type.Coding {
		if strings.EqualFold(k.Code, o.IDType) {
			return true
		}
	}
	return strings.EqualFold(i.Type.Text, o.IDType)
}

func (o Options) chooses() bool { return o.IDType != "" || o.IDAuthority != "" }

// patient gives the number of the patient to whom a reference points: the
// identifier that the site states where the reference holds it, else the
// logical id, which the table aliases brings to the patient's number.
func (o Options) patient(r reference) string {
	if o.chooses() && o.meant(r.Identifier) {
		return r.Identifier.Value
	}
	if id := r.id("Patient"); id != "" {
		return id
	}
	if r.Type == "" || r.Type == "Patient" {
		return r.Identifier.Value
	}
	return ""
}

const severalIDs = "found several identifiers, and none or more than one of type MR (medical record number): say which is meant by patient_id_type: or patient_id_authority: of the feed in site.yaml"

// number chooses among the identifiers of a patient: by what the site states,
// else the only one, else the only one of type MR. Old ones are not chosen.
func (o Options) number(all []identifier) (value, fault string) {
	var meant, records []string
	for _, i := range all {
		if !o.meant(i) || i.Use == "old" || contains(meant, i.Value) && o.chooses() {
			continue
		}
		if !contains(meant, i.Value) {
			meant = append(meant, i.Value)
		}
		for _, k := range i.Type.Coding {
			if k.Code == "MR" && !contains(records, i.Value) {
				records = append(records, i.Value)
			}
		}
	}
	switch {
	case len(meant) == 0:
		return "", ""
	case len(meant) == 1 || o.chooses():
		return meant[0], ""
	case len(records) == 1:
		return records[0], ""
	}
	return "", severalIDs
}

func contains(all []string, text string) bool {
	for _, t := range all {
		if t == text {
			return true
		}
	}
	return false
}

// first gives the first text that is not empty.
func first(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return ""
}
