package fhir

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"thawline/internal/contract"
	"thawline/internal/read/row"
	"thawline/internal/read/source"
)

// All patients and numbers in these resources are invented. Names of elements
// and codes are those of the specification (4.0.1). make test-reference holds
// testdata/*.ndjson, and the month of cmd/thawline in FHIR, against two validators
// (npm fhir 4.12.0, @medplum/core 4.5.2).

func rowsOf(t testing.TB, table *contract.Table, text string, o Options) []string {
	t.Helper()
	rows, err := readFrom(table, strings.NewReader(text), o)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func readFrom(table *contract.Table, r io.Reader, o Options) ([]string, error) {
	o.Table = table
	e, err := Open(bufio.NewReader(r), "x.ndjson", o)
	if err != nil {
		return nil, err
	}
	var rows []string
	for s, err := range e.Stretches() {
		if err != nil {
			return rows, err
		}
		err := s.Rows(func(r row.Row) bool {
			rows = append(rows, shown(e.Names(), r))
			return true
		})
		if err != nil {
			return rows, err
		}
		s.Release()
	}
	return rows, nil
}

func shown(names []string, r row.Row) string {
	switch {
	case r.Fault != "":
		return fmt.Sprintf("%d fault: %s", r.Place, r.Fault)
	case r.Other != "":
		return fmt.Sprintf("%d other: %s", r.Place, r.Other)
	}
	text := fmt.Sprint(r.Place)
	for i, c := range r.Cells {
		if len(c) > 0 {
			text += fmt.Sprintf(" %s=%s", names[i], c)
		}
	}
	return text
}

func same(t testing.TB, got []string, want ...string) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("rows (-want +got):\n%s", diff)
	}
}

// observation makes an Observation of the INR of its own elements.
func observed(more string) string {
	return `{"resourceType":"Observation","id":"o1","status":"final","code":{"coding":[{"system":"http://loinc.org","code":"6301-6"}]},"subject":{"reference":"Patient/p1"},"effectiveDateTime":"2025-03-10T09:00:00Z"` + more + "}\n"
}

const inr = "1 result_id=o1 patient_id=p1 test=6301-6 loinc=6301-6"

func TestWhereAResultIsRead(t *testing.T) {
	text := `{"resourceType":"Observation","id":"o1","status":"corrected","category":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category","code":"laboratory"}]}],` +
		`"code":{"coding":[{"system":"http://loinc.org","code":"3255-7","display":"Fibrinogen [Mass/volume] in Platelet poor plasma by Coagulation assay"},{"system":"http://lab.example.org","code":"FIBC"}],"text":"Fibrinogen"},` +
		`"subject":{"reference":"Patient/p1"},"effectivePeriod":{"start":"2025-03-10T09:00:00+01:00","end":"2025-03-10T09:05:00+01:00"},"issued":"2025-03-10T09:45:00.123+01:00",` +
		`"valueQuantity":{"value":1.80,"unit":"grams per litre","system":"http://unitsofmeasure.org","code":"g/L"}}` + "\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}), "1 result_id=o1 patient_id=p1 test=FIBC loinc=3255-7 code_names=Fibrinogen [Mass/volume] in Platelet poor plasma by Coagulation assay; Fibrinogen"+
		" value_raw=1.80 unit_raw=g/L collected_at=2025-03-10T09:00:00+01:00 resulted_at=2025-03-10T09:45:00.123+01:00 status=corrected")
}

// Numbers keep their text (FHIR R4, decimal: precision counts); comparators are
// those of Quantity; what is off the analyser's scale is an interpretation.
func TestValues(t *testing.T) {
	for _, c := range []struct{ element, want string }{
		{`"valueQuantity":{"value":1.80}`, " value_raw=1.80"}, {`"valueQuantity":{"value":2.50e0}`, " value_raw=2.50e0"}, {`"valueQuantity":{"value":9.0,"comparator":">"}`, " value_raw=>9.0"}, {`"valueQuantity":{"value":0.5,"comparator":"<="}`, " value_raw=<=0.5"},
		{`"valueQuantity":{"value":1.1,"unit":"ratio"}`, " value_raw=1.1 unit_raw=ratio"}, {`"valueQuantity":{"value":14,"unit":"sec","system":"http://unitsofmeasure.org","code":"s"}`, " value_raw=14 unit_raw=s"}, {`"valueQuantity":{"value":14,"unit":"secs","system":"http://lab.example.org","code":"17"}`, " value_raw=14 unit_raw=secs"},
		{`"valueQuantity":{"value":14,"code":"s"}`, " value_raw=14 unit_raw=s"}, {`"valueQuantity":{"value":"1.80"}`, " value_raw=1.80"}, {`"valueString":"> 9.0"`, " value_raw=> 9.0"}, {`"valueInteger":150`, " value_raw=150"},
		{`"valueCodeableConcept":{"coding":[{"code":"CL","display":"Clotted"}]}`, " value_raw=Clotted"}, {`"valueCodeableConcept":{"text":"no clot"}`, " value_raw=no clot"}, {`"valueBoolean":true`, ""}, {`"valueRange":{"low":{"value":1}}`, ""},
		{`"dataAbsentReason":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/data-absent-reason","code":"temp-unknown"}]}`, " no_value=temp-unknown"}, {`"dataAbsentReason":{"coding":[{"code":"error"}],"text":"Specimen clotted"}`, " no_value=Specimen clotted"},
		{`"valueQuantity":{"value":9.0},"interpretation":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation","code":">"}]}]`, " value_raw=9.0 bound=>"}, {`"valueQuantity":{"comparator":"<"}`, " value_raw=<"},
	} {
		got := rowsOf(t, contract.Labs, observed(","+c.element), Options{})
		same(t, got, inr+c.want+" collected_at=2025-03-10T09:00:00Z status=final")
	}
}

func TestPointOfCareByTheSitesOwnCategory(t *testing.T) {
	for category, want := range map[string]string{
		`{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category","code":"laboratory"}]}`:                                                                "",
		`{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/v2-0074","code":"LAB"}]}`:                                                                                    "",
		`{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category","code":"laboratory"}]},{"coding":[{"system":"http://tarn.example.org","code":"POC"}]}`: "POC",
	} {
		got := rowsOf(t, contract.Labs, observed(`,"category":[`+category+`]`), Options{})
		if strings.Contains(got[0], "point_of_care=") != (want != "") || !strings.Contains(got[0], want) {
			t.Errorf("%s: %s", category, got)
		}
	}
}

// Components are measurements of their own; a heading without a value is none.
func TestComponents(t *testing.T) {
	text := strings.Replace(observed(`,"component":[{"code":{"text":"PT"},"valueQuantity":{"value":14.5,"code":"s"}},{"code":{"text":"INR"},"dataAbsentReason":{"text":"clotted"}}]`), "6301-6", "24373-3", 1)
	const head, tail = "1 result_id=o1 patient_id=p1 test=", " collected_at=2025-03-10T09:00:00Z status=final"
	same(t, rowsOf(t, contract.Labs, text, Options{}), head+"PT code_names=PT value_raw=14.5 unit_raw=s"+tail, head+"INR code_names=INR no_value=clotted"+tail)
	same(t, rowsOf(t, contract.Labs, observed(`,"valueString":"see","component":[{"code":{"text":"PT"}}]`), Options{}), inr+" value_raw=see"+tail, head+"PT code_names=PT"+tail)
}

// The value set observation-status, each with the contract's word.
func TestStatus(t *testing.T) {
	for status, want := range map[string]string{"registered": "preliminary", "preliminary": "preliminary", "final": "final", "amended": "corrected", "corrected": "corrected", "cancelled": "cancelled", "entered-in-error": "cancelled", "unknown": "preliminary"} {
		if got := codesOf(contract.Labs)["status"][status]; got != want {
			t.Errorf("%s is %s, want %s", status, got, want)
		}
	}
	if codesOf(contract.Events)["status"]["entered-in-error"] != "cancelled" || codesOf(contract.Events)["status"]["completed"] != "" || codesOf(contract.Patients)["sex"]["female"] != "F" {
		t.Error("codes of other tables")
	}
}

func TestReferencesToPatients(t *testing.T) {
	for _, c := range []struct{ subject, kind, authority, want string }{
		{`{"reference":"Patient/7"}`, "", "", "7"}, {`{"reference":"http://fhir.example.org/r4/Patient/7/_history/2"}`, "", "", "7"}, {`{"reference":"urn:uuid:0a-1"}`, "", "", "0a-1"}, {`{"reference":"#p"}`, "", "", ""}, {`{"reference":"Group/7"}`, "", "", ""},
		{`{"identifier":{"value":"H7"}}`, "", "", "H7"}, {`{"type":"Device","identifier":{"value":"H7"}}`, "", "", ""}, {`{"reference":"Patient/7","identifier":{"value":"H7"}}`, "", "", "7"},
		{`{"reference":"Patient/7","identifier":{"value":"H7","system":"urn:oid:1.2"}}`, "", "urn:oid:1.2", "H7"}, {`{"reference":"Patient/7","identifier":{"value":"H7","type":{"coding":[{"code":"MR"}]}}}`, "mr", "", "H7"},
		{`{"reference":"Patient/7","identifier":{"value":"H7","type":{"coding":[{"code":"NI"}]}}}`, "MR", "", "7"}, {`{}`, "", "", ""}, {`{"display":"NAME"}`, "", "", ""},
	} {
		text := strings.Replace(observed(""), `{"reference":"Patient/p1"}`, c.subject, 1)
		got := rowsOf(t, contract.Labs, text, Options{IDType: c.kind, IDAuthority: c.authority})
		want := " patient_id=" + c.want + " "
		if c.want == "" {
			want = "result_id=o1 test="
		}
		if len(got) != 1 || !strings.Contains(got[0], want) {
			t.Errorf("%s, type %q, authority %q: %q, want %q", c.subject, c.kind, c.authority, got, want)
		}
	}
}

// A line that is no resource is told with its place; the others are read.
func TestLinesAtFault(t *testing.T) {
	text := observed("") + "\n  \r\n" + `{"resourceType":"Observation","id"` + "\n[]\n" + `{"a":1}` + "\n" + `{"resourceType":"Encounter"}` + "\n" + `{"resourceType":"Observation","subject":{"reference":7}}` + "\n" +
		`{"resourceType":"Observation","status":"` + "\xff" + `"}` + "\n" + `{"resourceType":"Observation","code":[]}` + "\n" + `{"resourceType":7}` + "\n" + `{"resourceType":"Observation","valueQuantity":{"value":{"x":1}}}`
	const tail = " collected_at=2025-03-10T09:00:00Z status=final"
	same(t, rowsOf(t, contract.Labs, text, Options{}), inr+tail, "4 fault: "+notJSON, "5 fault: "+notJSON, "6 fault: "+notResource, "7 other: resource=Encounter",
		"8 fault: found another kind of value at subject.reference than FHIR R4 has there", "9 fault: "+notUTF8, "10 fault: found another kind of value at code than FHIR R4 has there",
		"11 fault: found another kind of value at resourceType than FHIR R4 has there", "12 fault: found another kind of value at valueQuantity.value than FHIR R4 has there")
}

func TestBundlesOnOneLine(t *testing.T) {
	text := `{"resourceType":"Bundle","type":"collection","entry":[{"resource":` + strings.TrimSpace(observed("")) + `},{"resource":{"resourceType":"Patient"}},{}]}` + "\n"
	same(t, rowsOf(t, contract.Labs, text, Options{}), inr+" collected_at=2025-03-10T09:00:00Z status=final", "1 other: resource=Patient")
	// Bundles within bundles are no export: they are not gone into.
	same(t, rowsOf(t, contract.Labs, strings.Repeat(`{"resourceType":"Bundle","entry":[{"resource":`, 2000)+"{}"+strings.Repeat("}]}", 2000), Options{}), "1 other: resource=Bundle")
}

func TestJSONOverSeveralLines(t *testing.T) {
	for _, text := range []string{"{\n  \"resourceType\": \"Bundle\"\n}\n", "{ \"resourceType\": \"Bundle\",\n \"entry\": []}"} {
		var fault *source.Error
		if _, err := readFrom(contract.Labs, strings.NewReader(text), Options{}); !errors.As(err, &fault) || !strings.Contains(fault.Says, "NDJSON") {
			t.Errorf("%q: %v", text, err)
		}
	}
	var fault *source.Error
	if _, err := readFrom(contract.Activity, strings.NewReader(observed("")), Options{}); !errors.As(err, &fault) || !strings.Contains(fault.Says, "activity") {
		t.Errorf("%v", err)
	}
}

func TestMeasures(t *testing.T) {
	text := strings.Replace(observed(`,"valueQuantity":{"value":70.5,"unit":"kg","system":"http://unitsofmeasure.org","code":"kg"}`), "6301-6", "29463-7", 1)
	same(t, rowsOf(t, contract.Measures, text, Options{}), "1 patient_id=p1 kind=29463-7 loinc=29463-7 value_raw=70.5 unit_raw=kg measured_at=2025-03-10T09:00:00Z status=final")
}

const patient = `{"resourceType":"Patient","id":"p1","identifier":[{"system":"urn:oid:1.2","value":"H1","type":{"coding":[{"code":"MR"}]}},{"system":"urn:oid:9","value":"N1"}],"birthDate":"1950-01-02","gender":"female"`

// A resource gives the same rows wherever its type stands, and a fault where the
// line breaks off.
func TestWhereTheTypeStands(t *testing.T) {
	for text, want := range map[string]string{
		`{"resourceType":"Patient","id":"p1","gender":"male"}`:            "1 patient_id=p1 sex=male",
		` { "resourceType" : "Patient" , "id" : "p1", "gender" : "male"}`: "1 patient_id=p1 sex=male",
		`{"id":"p1","gender":"male","resourceType":"Patient"}`:            "1 patient_id=p1 sex=male",
		`{"resourceType":"Pati\u0065nt","id":"p1","gender":"male"}`:       "1 patient_id=p1 sex=male",
		`{"resourceType":"Patient","id":"p1","gender":"male"`:             "1 fault: " + notJSON,
		`{"resourceType":"Patient`:                                        "1 fault: " + notJSON,
		`{"resourceType":"Device","id":"p1"`:                              "1 fault: " + notJSON,
		`{"resourceType":"Device","id":"p1"}`:                             "1 other: resource=Device",
		`{"resourceType":7,"id":"p1"}`:                                    "1 fault: found another kind of value at resourceType than FHIR R4 has there",
	} {
		same(t, rowsOf(t, contract.Patients, text, Options{}), want)
	}
	if typeAtStart([]byte(`{"resourceType": "Observation","id":"1"}`)) != "Observation" || typeAtStart([]byte(`{"id":"1","resourceType":"Observation"}`)) != "" {
		t.Error("the type at the start")
	}
}

// Patients stand under the id that other resources name, or under the number
// that the site states; aliases bring the one to the other.
func TestPatients(t *testing.T) {
	same(t, rowsOf(t, contract.Patients, patient+"}", Options{}), "1 patient_id=p1 birth_date=1950-01-02 sex=female")
	same(t, rowsOf(t, contract.Patients, patient+"}", Options{IDAuthority: "urn:oid:9"}), "1 patient_id=N1 birth_date=1950-01-02 sex=female")
	same(t, rowsOf(t, contract.Patients, `{"resourceType":"Patient","id":"p1","gender":"unknown","birthDate":"1950"}`, Options{IDType: "MR"}), "1 birth_date=1950")
	same(t, rowsOf(t, contract.Aliases, patient+"}", Options{}), "1 alias=p1 patient_id=H1")
	same(t, rowsOf(t, contract.Aliases, strings.ReplaceAll(patient, `"MR"`, `"PI"`)+"}", Options{}), "1 fault: "+severalIDs)
	same(t, rowsOf(t, contract.Aliases, strings.ReplaceAll(patient, `"MR"`, `"PI"`)+"}", Options{IDType: "PI"}), "1 alias=p1 patient_id=H1")
	same(t, rowsOf(t, contract.Aliases, `{"resourceType":"Patient","id":"p1"}`, Options{}), "1 other: patient=without another number")
	same(t, rowsOf(t, contract.Aliases, `{"resourceType":"Patient","id":"p1","identifier":[{"use":"old","value":"H0"},{"value":"H1"}]}`, Options{}), "1 alias=p1 patient_id=H1")
	// Patient.link: what was replaced becomes what replaced it, by either end.
	same(t, rowsOf(t, contract.Aliases, patient+`,"link":[{"other":{"reference":"Patient/p2"},"type":"replaced-by"}]}`, Options{}), "1 alias=p1 patient_id=p2", "1 alias=H1 patient_id=p2")
	same(t, rowsOf(t, contract.Aliases, patient+`,"link":[{"other":{"reference":"Patient/p0"},"type":"replaces"},{"other":{"reference":"Patient/p9"},"type":"seealso"}]}`, Options{}), "1 alias=p0 patient_id=p1", "1 alias=p1 patient_id=H1")
	// Merged patients: a number that the one who stays bears too leads nowhere,
	// whatever stands between them and in whatever order; another leads on.
	merged := func(id, by string, numbers ...string) string {
		text := `{"resourceType":"Patient","id":"` + id + `","identifier":[`
		for i, n := range numbers {
			if i > 0 {
				text += ","
			}
			text += `{"type":{"coding":[{"code":"MR"}]},"value":"` + n + `"}`
		}
		text += "]"
		if by != "" {
			text += `,"link":[{"other":{"reference":"Patient/` + by + `"},"type":"replaced-by"}]`
		}
		return text + "}"
	}
	mr := Options{IDType: "MR"}
	same(t, rowsOf(t, contract.Aliases, merged("a", "b", "100")+"\n"+merged("b", "", "100"), mr), "1 alias=a patient_id=b", "2 alias=b patient_id=100")
	same(t, rowsOf(t, contract.Aliases, merged("b", "", "100", "200")+"\n"+merged("a", "b", "100"), mr), "1 alias=b patient_id=100", "2 alias=a patient_id=b")
	same(t, rowsOf(t, contract.Aliases, merged("a", "b", "100")+"\n"+merged("b", "", "200"), mr), "1 alias=a patient_id=b", "2 alias=b patient_id=200", "1 alias=100 patient_id=b")
	same(t, rowsOf(t, contract.Aliases, merged("a", "b", "100")+"\n"+merged("b", "c", "200")+"\n"+merged("c", "", "100"), mr),
		"1 alias=a patient_id=b", "2 alias=b patient_id=c", "3 alias=c patient_id=100", "2 alias=200 patient_id=c")
	same(t, rowsOf(t, contract.Aliases, merged("", "b", "100")+"\n"+merged("b", "", "100"), mr), "2 alias=b patient_id=100", "1 other: patient=without another number")
	same(t, rowsOf(t, contract.Aliases, merged("a", "b", "100")+"\n"+merged("b", "a", "200"), mr), "1 alias=a patient_id=b", "2 alias=b patient_id=a", "1 alias=100 patient_id=b", "2 alias=200 patient_id=a")
}

func TestEvents(t *testing.T) {
	const subject = `"subject":{"reference":"Patient/p1"}`
	text := `{"resourceType":"Procedure","status":"completed","category":{"coding":[{"system":"http://snomed.info/sct","code":"387713003"}]},"code":{"coding":[{"code":"OP1"}]},` + subject + `,"performedPeriod":{"start":"2025-03-10T08:00:00Z","end":"2025-03-10T10:00:00Z"}}` + "\n" +
		`{"resourceType":"Procedure","status":"not-done","code":{"coding":[{"code":"PEX"}]},` + subject + `,"performedDateTime":"2025-03-10"}` + "\n" +
		`{"resourceType":"Condition","verificationStatus":{"coding":[{"code":"confirmed"}]},"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10","code":"K74.6"}]},` + subject + `,"onsetDateTime":"2024","recordedDate":"2025-03-01"}` + "\n" +
		`{"resourceType":"Condition","verificationStatus":{"coding":[{"code":"differential"}]},"code":{"coding":[{"code":"D65"}]},` + subject + `}` + "\n" +
		`{"resourceType":"Condition","code":{"coding":[{"code":"D65"}]},` + subject + `,"recordedDate":"2025-03-01","abatementDateTime":"2025-03-04"}` + "\n" +
		`{"resourceType":"AdverseEvent","actuality":"actual","event":{"coding":[{"code":"TACO"}]},` + subject + `,"date":"2025-03-10T12:00:00Z"}` + "\n" +
		`{"resourceType":"AdverseEvent","actuality":"potential",` + subject + `}` + "\n" +
		patient + `,"deceasedDateTime":"2025-03-12T01:00:00Z"}` + "\n" + patient + "}\n"
	same(t, rowsOf(t, contract.Events, text, Options{}),
		"1 patient_id=p1 kind=OP1 kind_else=procedure detail_raw=OP1 at=2025-03-10T08:00:00Z until=2025-03-10T10:00:00Z status=completed", "2 patient_id=p1 kind=PEX detail_raw=PEX at=2025-03-10 status=not-done",
		"3 patient_id=p1 kind=K74.6 kind_else=diagnosis detail_raw=K74.6 at=2024 status=confirmed", "4 other: verification=differential", "5 patient_id=p1 kind=D65 kind_else=diagnosis detail_raw=D65 at=2025-03-01 until=2025-03-04",
		"6 patient_id=p1 kind=TACO detail_raw=TACO at=2025-03-10T12:00:00Z", "7 other: actuality=potential", "8 patient_id=p1 kind=death at=2025-03-12T01:00:00Z", "9 other: patient=without a time of death")
}

func TestMedicines(t *testing.T) {
	const tail = `,"status":"completed","subject":{"reference":"Patient/p1"},"effectivePeriod":{"start":"2025-03-10T08:00:00Z"}}` + "\n"
	text := `{"resourceType":"MedicationAdministration","medicationCodeableConcept":{"coding":[{"system":"http://www.whocc.no/atc","code":"B01AA03"}]}` + tail +
		`{"resourceType":"MedicationAdministration","contained":[{"resourceType":"Medication","id":"m","code":{"coding":[{"code":"WARF"}]}}],"medicationReference":{"reference":"#m"}` + tail +
		`{"resourceType":"MedicationAdministration","medicationReference":{"reference":"Medication/m7"}` + tail + `{"resourceType":"MedicationAdministration","medicationReference":{"display":"Heparin"}` + tail
	var want []string
	for i, code := range []string{"B01AA03", "WARF", "m7", "Heparin"} {
		want = append(want, fmt.Sprintf("%d patient_id=p1 medicine=%s given_at=2025-03-10T08:00:00Z status=completed", i+1, code))
	}
	same(t, rowsOf(t, contract.Medicines, text, Options{}), want...)
}

const product1 = `"contained":[{"resourceType":"BiologicallyDerivedProduct","id":"u","identifier":[{"value":"W000025000001"}],"productCode":{"coding":[{"code":"E0869V00"}]}}]`

// R4 has no resource for a dispensed unit: these are the forms that are read.
func TestIssuesAndTransfusions(t *testing.T) {
	text, err := os.ReadFile("testdata/blood.ndjson")
	if err != nil {
		t.Fatal(err)
	}
	same(t, rowsOf(t, contract.Issues, string(text), Options{}),
		"1 unit_no=W000025000001 product_code=E0869V00 volume_ml=275 patient_id=p1 location=icu requester=d1 indication=BLD indication_raw=Bleeding requested_at=2025-03-10T08:30:00Z issued_at=2025-03-10T09:00:00Z status=completed",
		"2 unit_no=W000025000002 patient_id=p1 issued_at=2025-03-10T09:00:00Z status=completed", "3 other: supplied=GLOVES", "4 other: delivery_status=abandoned",
		"5 other: resource=Procedure", "6 other: resource=Procedure", "7 other: resource=Procedure")
	same(t, rowsOf(t, contract.Bedside, string(text), Options{})[4:], "5 unit_no=W000025000001 product_code=E0869V00 patient_id=p1 started_at=2025-03-10T09:30:00Z ended_at=2025-03-10T10:30:00Z status=completed",
		"6 other: procedure_status=not-done", "7 other: procedure=OP1")
}

// Cut into stretches anywhere, a file gives the same rows with the same places.
func TestStretches(t *testing.T) {
	var text strings.Builder
	for i := range 300 {
		text.WriteString(observed(fmt.Sprintf(`,"valueQuantity":{"value":1.%d},"note":[{"text":"%s"}]`, i, strings.Repeat("x", i*5))))
	}
	want := rowsOf(t, contract.Labs, text.String(), Options{})
	if len(want) != 300 {
		t.Fatal(len(want))
	}
	defer func(n int) { stretchSize = n }(stretchSize)
	for _, stretchSize = range []int{1, 700, 10_000} {
		got, err := readFrom(contract.Labs, iotest.HalfReader(strings.NewReader(strings.TrimSuffix(text.String(), "\n"))), Options{})
		if err != nil || cmp.Diff(want, got) != "" {
			t.Errorf("stretches of %d: %d rows, %v", stretchSize, len(got), err)
		}
	}
	defer func(n int) { lineLimit = n }(lineLimit)
	lineLimit = 1000
	var fault *source.Error
	if _, err := readFrom(contract.Labs, strings.NewReader(text.String()), Options{}); !errors.As(err, &fault) || fault.Place < 100 || fault.Place > 200 {
		t.Errorf("%v, want a fault of a long line", err)
	}
	broken := errors.New("disk")
	if _, err := readFrom(contract.Labs, io.MultiReader(strings.NewReader(observed("")), iotest.ErrReader(broken)), Options{}); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}
