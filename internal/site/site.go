// Package site reads site.yaml: what a hospital says once about its exports,
// its codes, its clock and its products. The file is read strictly: an unknown
// key is a fault, and all faults come back at once, each with its place.
package site

import (
	"errors"
	"path"
	"regexp"
	"time"

	// Zone names are known on machines without zone files too.
	_ "time/tzdata"

	"thawline/internal/contract"
)

// Site is a hospital's site.yaml, checked.
type Site struct {
	// Path is the file as given to Load, Dir its folder as an absolute path:
	// relative paths in the file are taken from there.
	Path, Dir string
	// Hospital is the name that heads a pack.
	Hospital string
	// Zone is the clock on the wall; ZoneName is its IANA name.
	Zone     *time.Location
	ZoneName string
	// Store is the absolute path of the store's folder.
	Store string
	// Policy is the absolute path of policy.yaml, or empty: the defaults.
	Policy string
	// Feeds stand in the order of the file; one table may have several.
	Feeds []Feed
	// Products is the product map by lower-cased code; see Product.
	Products map[string]Product
	// MeanNormal holds the mean normal times of pt_s and aptt_s, in order of date.
	MeanNormal map[string][]MeanNormal
	// Limits says when a month is incomplete.
	Limits Limits
	// ControlledStorage lists the locations that keep units at a controlled temperature.
	ControlledStorage []string
	// Confidentiality is the line at the foot of every page, or empty.
	Confidentiality string
	// Interventions are dated changes of practice, in order of date.
	Interventions []Intervention
	// Baseline is the span that the centre lines of control charts come from, or empty:
	// the first months.
	Baseline Baseline
	// Currency is the sign or code put before a cost, or empty.
	Currency string
	// Language is the pack's (the name of a file in internal/words), or empty: English.
	Language string
	// DecimalComma writes 1,5 where else stands 1.5.
	DecimalComma bool
	// DateForm is how the pack writes a day, as Go's reference time, or empty.
	DateForm string
}

// Feed is one kind of export: where its files are and how they are read.
type Feed struct {
	// Line is the line of site.yaml on which the feed begins.
	Line  int
	Table *contract.Table
	// Files is an absolute glob.
	Files string
	// FileDate finds the date in a file's base name, in its one group; nil
	// where names hold none. Use DateOf.
	FileDate *regexp.Regexp
	// TimeFormats are Go layouts that hold beside the ISO 8601 forms.
	TimeFormats []string
	// Delimiter is one of , ; | and tab, or empty: found in the header.
	Delimiter string
	// Encoding is one of Encodings, or empty: a byte order mark, else UTF-8.
	Encoding string
	// Sheet is the name or the number, from 1, of a workbook's sheet, or empty.
	Sheet string
	// HeaderRow is the row that holds the names of the columns, or 0: the first that
	// is not blank.
	HeaderRow int64
	// Decimal says by which mark the files part decimals: comma or point, or empty:
	// by what a number shows of itself.
	Decimal string
	// PatientIDType and PatientIDAuthority choose among the identifiers of a
	// patient in HL7 messages and FHIR resources; empty is any.
	PatientIDType, PatientIDAuthority string
	// Fields maps a column of the contract to the field of HL7 messages that
	// holds it, as OBR-7, where it is not the usual one.
	Fields map[string]string
	// Columns maps a column of the contract to the header that holds it. Nil
	// means that the file's header bears the names of the contract.
	Columns map[string]string
	// Codes maps, for each coded column, a lower-cased local code to the
	// contract's. Under unit_raw it maps a spelling to a unit that UnitOf knows.
	Codes map[string]map[string]string
	// Units states, by test or kind of measure, the unit of rows without one.
	Units map[string]string
	// Ignore holds lower-cased local codes that are set aside without a word.
	Ignore map[string]bool
	// IgnoreRest sets aside every code in no map without a word.
	IgnoreRest bool
}

// Product is one entry of the product map.
type Product struct {
	// Code is the product's code as site.yaml spells it.
	Code string
	// Component and Product are words of the contract; Product is empty for
	// all but plasma.
	Component, Product string
	// NominalML is the volume of one bag in mL, or 0: not stated.
	NominalML float64
	// Becomes is the code that the bag bears once thawed, or empty.
	Becomes string
	// Batch says that one number stands for many bags.
	Batch bool
}

// MeanNormal is a laboratory's mean normal time in seconds.
type MeanNormal struct {
	// From is the first local day on which it holds, as a UTC midnight.
	From time.Time
	// Value is in seconds.
	Value float64
}

// Limits are shares from 0 to 1 above which a run counts as incomplete; nil
// where the site sets none.
type Limits struct{ RejectedShare, UndeterminedShare *float64 }

// Intervention is a change of practice, drawn as a line on the charts.
type Intervention struct {
	// Date is a local day, as a UTC midnight.
	Date time.Time
	Name string
}

// Baseline is a span of whole months, YYYY-MM, both included.
type Baseline struct{ From, To string }

// BagCode follows a product's becomes to its end: the code that stands for the
// bag before and after thawing. It is empty for a code in no product map.
func (s *Site) BagCode(code string) string {
	p, known := s.Products[fold(code)]
	for known && p.Becomes != "" {
		p, known = s.Products[fold(p.Becomes)]
	}
	return p.Code
}

// FindProduct returns the map's entry of a code, compared without case and
// outer spaces.
func (s *Site) FindProduct(code string) (Product, bool) {
	p, known := s.Products[fold(code)]
	return p, known
}

// DateOf returns the date in a file's name as YYYY-MM-DD, or "" where the feed
// states no pattern or the name does not match it. The group may hold
// YYYY-MM-DD, YYYYMMDD or YYYY-MM, which means the last day of that month;
// anything else in it is an error.
func (f *Feed) DateOf(name string) (string, error) {
	if f.FileDate == nil {
		return "", nil
	}
	found := f.FileDate.FindStringSubmatch(path.Base(name))
	if found == nil {
		return "", nil
	}
	if day, err := time.Parse(time.DateOnly, found[1]); err == nil {
		return day.Format(time.DateOnly), nil
	}
	if day, err := time.Parse("20060102", found[1]); err == nil {
		return day.Format(time.DateOnly), nil
	}
	if month, err := time.Parse("2006-01", found[1]); err == nil {
		return month.AddDate(0, 1, -1).Format(time.DateOnly), nil
	}
	return "", errors.New(name + ": file_date: found " + found[1] + " in the name, wanted YYYY-MM-DD, YYYYMMDD or YYYY-MM; put the group of the pattern around the date alone")
}

// MadeBy returns the last local day on which a file of that name can have been
// made, as YYYY-MM-DD, or "" without a date. It is the day in the name; where the
// name holds a month alone, the day after its end: such a file is made once the
// month is over, and what began on its last evening ends on that day.
func (f *Feed) MadeBy(name string) (string, error) {
	date, err := f.DateOf(name)
	if date == "" || err != nil {
		return "", err
	}
	if _, month := time.Parse("2006-01", f.FileDate.FindStringSubmatch(path.Base(name))[1]); month == nil {
		last, err := time.Parse(time.DateOnly, date)
		return last.AddDate(0, 0, 1).Format(time.DateOnly), err
	}
	return date, nil
}

// Required lists, for a table, what a file must give: each entry is a set of
// columns of which one is enough.
func Required(t *contract.Table) [][]string {
	switch t {
	case contract.Issues:
		return [][]string{{"unit_no"}, {"product_code"}, {"issued_at", "thawed_at", "discarded_at"}}
	case contract.Bedside:
		return [][]string{{"unit_no"}, {"started_at"}}
	case contract.Labs:
		return [][]string{{"patient_id"}, {"test"}, {"collected_at"}}
	case contract.Measures:
		return [][]string{{"patient_id"}, {"kind"}, {"value", "value_raw"}, {"measured_at"}}
	}
	// The other tables require what the contract requires of a row.
	var required [][]string
	for _, c := range t.Columns {
		if c.Required && !c.Derived {
			required = append(required, []string{c.Name})
		}
	}
	return required
}

// RawOf says which column may stand in for a canonical one in a file.
var RawOf = map[string]string{"value": "value_raw", "indication": "indication_raw", "discard_reason": "discard_reason_raw", "detail": "detail_raw"}
