package normalise

import (
	"regexp"
	"strings"
)

// reason is why a row or a cell was not taken as it stands: what is wrong, in
// words that hold no value of the row, and what a person can do about it. Every
// line of problems bears one of these, so that none is without a next step.
type reason struct {
	// says may hold {} where a number or a name of the contract stands.
	says, next string
	form       *regexp.Regexp
}

// reasons holds every reason there is.
var reasons []*reason

func newReason(says, next string) *reason {
	form := strings.ReplaceAll(regexp.QuoteMeta(says), regexp.QuoteMeta("{}"), ".+")
	r := &reason{says, next, regexp.MustCompile("^" + form + "$")}
	reasons = append(reasons, r)
	return r
}

// text puts parts where the reason has room for them.
func (r *reason) text(parts []string) string {
	text := r.says
	for _, part := range parts {
		text = strings.Replace(text, "{}", part, 1)
	}
	return text
}

// otherStep is the next step of a reason that an earlier version wrote.
const otherStep = "look at the row in the export; where the export is right, amend the feed in site.yaml and run thawline ingest"

// NextStep says what a person can do about a problem, by the reason that
// contract.Problems holds of it.
func NextStep(text string) string {
	for _, r := range reasons {
		if r.form.MatchString(text) {
			return r.next
		}
	}
	return otherStep
}

// The steps that several reasons share.
const (
	askSource  = "have the source system mend the row, and export it again: a later file corrects an earlier one"
	stateMark  = "look how the export writes one and a half, and state decimal: comma or decimal: point in the feed; then run thawline ingest"
	sourceTime = "compare the clocks and the order of entry in the source system; where the cell is wrong, mend it there and export it again"
)

// The reasons.
var (
	reasonWidth = newReason("{} cells, the header has {}: look for a delimiter or a quote inside a cell",
		"open the export at that row: quote the cell, or state delimiter: in the feed; then run thawline ingest")
	reasonEmpty = newReason("empty, and a row of {} needs it",
		"check that columns: in the feed names the right header; where the export leaves it empty, ask for the column to be filled")
	reasonNoTimes = newReason("empty, and so are thawed_at and discarded_at: a row of issues needs one of them",
		"check columns: for issued_at, thawed_at and discarded_at in the feed; where the export leaves all three empty, ask for one of them")

	reasonApart = newReason("cannot be taken apart: {}",
		"do as the reason says at that place of the export, or have its sender do so; the other rows of the file are read")
	reasonLOINC = newReason("the LOINC code is that of {}, and {}",
		"say what the code means under test: (or kind:) in the feed; where the sender maps a code wrongly, have it mended there too")

	// What a spreadsheet or a hand has done to an export before it came.
	reasonSheetError = newReason("a spreadsheet's error in place of a value",
		"mend the formula, or export from the system itself")
	reasonShortened = newReason("an identifier that a spreadsheet wrote as a rounded number (like 1.2E+11)",
		"export that column as text, from the system itself: the digits are lost in this file")
	reasonHeaderAgain = newReason("the header again: exports were put one after the other",
		"nothing is lost: leave the second header out of the export")

	reasonUnread = newReason("no date and time in a form of ISO 8601 or in the time_format of the site file",
		"state time_format: in the feed as the export writes its times, then run thawline ingest")
	reasonCalendar = newReason("outside the years 1 to 9999",
		"have the export leave a time that is not known empty, and put no first or last day of the calendar in its place")
	reasonSkipped = newReason("a time that the clock skips (daylight saving)",
		"check time_zone: in site.yaml; or have the export write times with their offset from UTC")
	reasonLate = newReason("after the file was made, by the date in its name",
		"check file_date: and time_format: in the feed (day and month may be swapped; of a name with a month alone, times are taken to the end of the day after it); else "+askSource)
	reasonNoTime = newReason("a date alone, and a start or an end needs its time",
		"ask for the time of day in the export")
	reasonNoDate = newReason("no date in a form of ISO 8601 or in the time_format of the site file",
		"state time_format: in the feed as the export writes its dates, then run thawline ingest")
	reasonBefore1900 = newReason("before 1900",
		"check time_format: in the feed (a year of two digits is read as written); else "+askSource)

	reasonAfter       = newReason("after {}", sourceTime)
	reasonBefore      = newReason("before {}", sourceTime)
	reasonDaysBefore  = newReason("over {} before {}", sourceTime)
	reasonHoursFrom   = newReason("over {} from {}", sourceTime)
	reasonHoursAfter  = newReason("over {} after {}", sourceTime)
	reasonCheckDigit  = newReason("the 14th character is not the check character (ISO/IEC 7064 MOD 37-2) of the 13 before it; the number is kept as written", "nothing is lost: compare the number with the bag's label where several rows of one file are noted so, for a column may be cut or joined")
	reasonNoNumberIn  = newReason("no number in it", "check columns: for unit_no in the feed: the column seems to hold something else")
	reasonNoVolume    = newReason("no number of mL", "have the column hold mL as a plain number, or name another column under columns: in the feed")
	reasonBagVolume   = newReason("outside 5 to 700 mL, the limits of a bag of plasma", "check the column and its unit (wanted mL); nominal_ml: of the product stands in for it")
	reasonUnderZero   = newReason("under 0 mL", askSource)
	reasonOverBag     = newReason("over 1.1 times the volume of the bag", "check the column and its unit (wanted mL given of this one bag), and nominal_ml: of the product")
	reasonLimits      = newReason("outside {}, the limits of {}", "check the unit: state it under units: in the feed, or its meaning under unit_raw:; a value that is true but beyond the limits stays out")
	reasonRatioLimits = newReason("the ratio to the mean normal time is outside {}, the limits of {}", "check mean_normal_s: in site.yaml, its value and the date from which it holds")
	reasonWrongUnit   = newReason("no unit of {}: the value is dropped; state the unit's meaning under unit_raw: in the site file", "state the unit's meaning under unit_raw: in the feed, or correct test: where the code is another test's; then run thawline ingest")
	reasonNoUnit      = newReason("no unit, and the site file states none for {} under units:", "state the unit that the export means under units: in the feed, then run thawline ingest")
	reasonNoNumber    = newReason("no number", "check columns: for value_raw in the feed; a word in place of a number gives no measure")
	// Numbers whose marks can be read in two ways: a guess would be wrong a thousandfold.
	reasonMark      = newReason("a comma that may part thousands or decimals: state decimal: comma or point for this feed", stateMark)
	reasonPoint     = newReason("a point that may part thousands or decimals: state decimal: comma or point for this feed", stateMark)
	reasonThousands = newReason("a point or a comma that parts thousands: state decimal: comma or point for this feed", stateMark)
	reasonGroups    = newReason("a space or an apostrophe that parts thousands: state decimal: comma or point for this feed", stateMark)
	reasonMixed     = newReason("a point that may part thousands, in a column that has commas for decimals elsewhere: state decimal: for this feed", stateMark)
	reasonOtherMark = newReason("no number by decimal: {}, which site.yaml states of this feed", "look at that place of the export: where the whole column is written with the other mark, amend decimal: in the feed; where both occur, have its sender write one")
	reasonFraction  = newReason("a fraction, and {} are counted whole", "have the column hold a plain number; where a point or a comma parts thousands there, state decimal: in the feed; then run thawline ingest")
	reasonNoMonth   = newReason("no month as 2025-07, nor a date of it", "have the column hold the month as 2025-07, or state time_format: in the feed")
	reasonNoCount   = newReason("no number of 0 or more", "have the column hold a plain number")
)
