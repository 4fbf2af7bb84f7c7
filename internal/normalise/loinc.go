package normalise

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"thawline/internal/site"
)

// loinc is a code of LOINC for a test or a kind of measure, and for a measure
// what it says of the method.
type loinc struct{ word, method string }

// loincs are the LOINC codes of the contract's tests and measures. Names as
// published by loinc.org (see NOTICE); those marked (memory) are not checked
// against it. Codes of other samples or properties are left out: 13488-2 is the
// aPTT of the control plasma.
var loincs = map[string]loinc{
	"6301-6":  {word: "inr"}, // INR in platelet poor plasma
	"34714-6": {word: "inr"}, // INR in blood
	"46418-0": {word: "inr"}, // INR in capillary blood
	"38875-1": {word: "inr"}, // INR in platelet poor plasma or blood

	"5902-2":  {word: "pt_s"},       // prothrombin time
	"5964-2":  {word: "pt_s"},       // prothrombin time in blood
	"5894-1":  {word: "pt_ratio"},   // prothrombin time, actual/normal (memory)
	"14979-9": {word: "aptt_s"},     // aPTT in platelet poor plasma
	"3173-2":  {word: "aptt_s"},     // aPTT in blood
	"63561-5": {word: "aptt_ratio"}, // aPTT actual/normal
	"3255-7":  {word: "fibrinogen"}, // fibrinogen mass, by clotting

	"718-7":   {word: "hb"},        // haemoglobin mass in blood
	"59260-0": {word: "hb"},        // haemoglobin moles in blood
	"777-3":   {word: "platelets"}, // platelets in blood, automated count
	"26515-7": {word: "platelets"}, // platelets in blood
	"4544-3":  {word: "hct"},       // haematocrit, automated count
	"20570-8": {word: "hct"},       // haematocrit

	"29463-7": {word: "weight"},                     // body weight
	"3141-9":  {word: "weight", method: "measured"}, // body weight measured
	"3142-7":  {word: "weight", method: "stated"},   // body weight stated
	"8302-2":  {word: "height"},                     // body height
	"3137-7":  {word: "height", method: "measured"}, // body height measured
	"3138-5":  {word: "height", method: "stated"},   // body height stated
	"8306-3":  {word: "height"},                     // body height, lying
}

// LOINC gives the test or kind of measure of a LOINC code that is known without
// a map.
func LOINC(code string) (word string, known bool) {
	l, known := loincs[code]
	return l.word, known
}

// names tell by which words a test or measure is known (common practice, and
// LOINC's own names), in lower case. A name that has one of not is of another.
// They are made when a name is first asked about: a report asks none.
var names = sync.OnceValue(func() []named {
	return []named{
		{"inr", words(`inr|international normali[sz]ed ratio`), nil},
		{"pt_s", words(`pt|prothrombin|prothrombin time|protime|pro time|quick|tissue factor induced|thromboplastin time`), words(`ratio|actual/normal|inr|international|partial|activated|apt+|gene|mutation|fragment|antibody|activity`)},
		{"pt_ratio", words(`pt ratio|ptr|prothrombin( time)?( \(pt\))?( time)? (ratio|actual/normal)|pt actual/normal|tissue factor induced.*actual/normal`), words(`international|partial`)},
		{"aptt_s", words(`aptt|a ptt|ptt|apt|partial thromboplastin|surface induced|pttk|kptt|kct`), words(`ratio|actual/normal|control|factor substitution`)},
		{"aptt_ratio", words(`(aptt|ptt|apt|partial thromboplastin time|surface induced).*(ratio|actual/normal)|apttr`), words(`control`)},
		{"fibrinogen", words(`fibrinogen|fib|fbg|fibc|factor i`), words(`degradation|split|product|products|fdp|antigen|ag|peptide|d-dimer|dimer`)},
		{"hb", words(`ha?emoglobin|hgb|hb`), words(`a1c|hba1c|glycated|glycosylated|f(o?etal)?|carboxy.*|met|mean|mch|mchc|plasma|urine|s|variant|reticulocyte|free`)},
		{"platelets", words(`platelets?|plt|thrombocytes?`), words(`volume|mpv|function|aggregation|distribution|width|antibody|antibodies|immature|large|mean|pdw|estimate|poor|transfusion`)},
		{"hct", words(`ha?ematocrit|hct|pcv|packed cell volume`), words(`plasma`)},
		{"weight", words(`weight|wt|mass`), words(`birth|ideal|adjusted|dry|bmi|index|loss|change|gain|percentile|lean|fat`)},
		{"height", words(`height|length|stature|ht`), words(`uterine|fundal|percentile|sitting|index|change`)},
	}
})

// named is a test or measure with the words that its name has, and those that it
// has not.
type named struct {
	word     string
	has, not *regexp.Regexp
}

// words compiles alternatives that stand as words of their own.
func words(alternatives string) *regexp.Regexp {
	return regexp.MustCompile(`(^|[^\pL\pN])(` + alternatives + `)($|[^\pL\pN])`)
}

// poorPlasma is the sample of a clotting test, not its analyte; what stands in
// brackets is a property.
var poorPlasma = regexp.MustCompile(`platelet[- ]poor plasma|\[[^\]]*\]|\bppp\b`)

// told lists what a name says that it is of.
func told(name string) (tests []string) {
	name = poorPlasma.ReplaceAllString(strings.ToLower(name), " ")
	for _, n := range names() {
		if n.has.MatchString(name) && (n.not == nil || !n.not.MatchString(name)) {
			tests = append(tests, n.word)
		}
	}
	return tests
}

// byLOINC gives the place of a LOINC code's word among those of a column. A code
// whose names or unit contradict it is known and at fault: it is no guess what
// it is.
func (b *Batch) byLOINC(column int, code, names, unit []byte) (index int, known bool, fault string) {
	// Most codes are not of LOINC: digits, a hyphen, a check digit.
	if n := len(code); n < 3 || n > 8 || code[n-2] != '-' {
		return 0, false, ""
	}
	l, known := loincs[string(code)]
	if !known {
		return 0, false, ""
	}
	index = slices.Index(b.m.columns[column].Codes, l.word)
	if index < 0 || b.listed(code) {
		return 0, false, ""
	}
	if says := b.contradiction(l.word, string(names), string(unit)); says != "" {
		return index, true, says
	}
	return index, true, ""
}

// contradiction says in what a name or a unit is of another test than word. An
// export says the same of a code again and again.
func (b *Batch) contradiction(word, names, unit string) string {
	key := word + "\x00" + names + "\x00" + unit
	says, seen := b.contradicted[key]
	if !seen {
		says = b.contradicts(word, names, unit)
		if b.contradicted == nil {
			b.contradicted = map[string]string{}
		}
		if len(b.contradicted) < 1000 {
			b.contradicted[key] = says
		}
	}
	return says
}

func (b *Batch) contradicts(word, names, unit string) string {
	if names != "" {
		own := false
		for _, name := range strings.Split(names, "; ") {
			all := told(name)
			if slices.Contains(all, word) {
				own = true
			} else if len(all) > 0 {
				return "a name beside it that of " + all[0]
			}
		}
		if !own {
			return "no name beside it is"
		}
	}
	if unit == "" {
		return ""
	}
	if mapped := b.m.feed.Codes["unit_raw"][strings.ToLower(unit)]; mapped != "" {
		unit = mapped
	}
	if _, own := site.UnitOf(word, unit); !own && site.KnownUnit(unit) {
		return "its unit that of another test"
	}
	return ""
}
