package inspect

import (
	"fmt"
	"regexp"
	"strings"

	"thawline/internal/normalise"
)

// Place is where a value stands: the base name of a file and the row in it.
type Place struct {
	File string `json:"file"`
	Row  int64  `json:"row"`
}

// String is the form that the other verbs use too.
func (p Place) String() string { return fmt.Sprintf("%s:%d", p.File, p.Row) }

// The orders in which day, month and year may stand.
const (
	dayFirst = iota
	monthFirst
	yearMonthDay
	yearDayMonth
	orders
)

// family is a way to write times in which only the order of day, month and year
// is open: cells of one skeleton, and for each order the layout that reads them.
type family struct {
	// skeleton has 9 for a number of one or two digits.
	skeleton string
	// padded layouts hold where every number has two digits, the others always.
	padded, loose [orders]string
	forms         [orders]*normalise.TimeForm
	// digits says that cells are digits alone, as numbers of persons are too.
	digits bool
	// twelve says that hours run to 12 with AM and PM.
	twelve bool
}

// evidence is what the cells of one family say. Cells are told apart by the set
// of orders in which they can be read, as bits.
type evidence struct {
	family   *family
	unpadded bool
	count    [1 << orders]int64
	first    [1 << orders]Place
	// lateHours counts cells with an hour over 12, timed those with a time.
	lateHours, timed int64
}

// dateShape cuts a cell into date and time. The date is three numbers, or two and
// the name of a month, or digits alone.
var dateShape = regexp.MustCompile(`^(?:(\d{1,4}|\pL{3,9})([-/. ])(\d{1,2}|\pL{3,9})([-/. ]|, )(\d{1,4})|(\d{6}|\d{8}|\d{12}|\d{14}))(.*)$`)

// timeShape is the time of day, and what may follow it.
var timeShape = regexp.MustCompile(`^(T| |, |)(\d{1,2})([:.h])(\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?( ?)([AaPp][Mm])?( ?)(Z|[+-]\d{2}(?::?\d{2})?)?$`)

// familyOf gives the family of a cell, or nil for a cell that no layout reads.
func familyOf(cell string) (f *family, unpadded bool) {
	parts := dateShape.FindStringSubmatch(cell)
	if parts == nil {
		return nil, false
	}
	clock, clockLoose, twelve, ok := clockLayout(parts[7])
	if !ok {
		return nil, false
	}
	f = &family{twelve: twelve}
	if run := parts[6]; run != "" {
		f.digits = true
		if len(run) > 8 {
			if parts[7] != "" {
				return nil, false
			}
			clock = "1504"
			if len(run)%4 == 2 { // 14 digits, or 12 with a year of two
				clock += "05"
			}
			clockLoose = clock
		}
		year := "2006"
		if len(run) == 6 {
			year = "06"
		}
		f.set(dayFirst, "0201"+year, "0201"+year)
		f.set(monthFirst, "0102"+year, "0102"+year)
		f.set(yearMonthDay, year+"0102", year+"0102")
		f.set(yearDayMonth, year+"0201", year+"0201")
	} else {
		f.dates(parts[1], parts[2], parts[3], parts[4], parts[5])
	}
	for o := range orders {
		if f.loose[o] != "" {
			f.padded[o] += clock
			f.loose[o] += clockLoose
		}
	}
	f.skeleton = skeleton(cell)
	for _, n := range []string{parts[1], parts[3]} {
		unpadded = unpadded || len(n) == 1
	}
	return f, unpadded
}

// set names the layouts of one order.
func (f *family) set(order int, padded, loose string) {
	f.padded[order], f.loose[order] = padded, loose
}

// dates names the layouts of a date whose three parts are written as given.
func (f *family) dates(a, s1, b, s2, c string) {
	letters := func(s string) bool { return s[0] < '0' || s[0] > '9' }
	month := func(s string) string {
		if len([]rune(s)) == 3 {
			return "Jan"
		}
		return "January"
	}
	year := "2006"
	switch {
	case letters(b):
		if len(c) == 4 || len(a) <= 2 && len(c) == 2 {
			if len(c) == 2 {
				year = "06"
			}
			f.set(dayFirst, "02"+s1+month(b)+s2+year, "2"+s1+month(b)+s2+year)
		}
		if len(a) == 4 || len(c) == 2 {
			if len(a) == 2 {
				year = "06"
			}
			f.set(yearMonthDay, year+s1+month(b)+s2+"02", year+s1+month(b)+s2+"2")
		}
	case letters(a):
		if len(c) == 2 {
			year = "06"
		}
		f.set(monthFirst, month(a)+s1+"02"+s2+year, month(a)+s1+"2"+s2+year)
	case len(a) == 4:
		f.set(yearMonthDay, year+s1+"01"+s2+"02", year+s1+"1"+s2+"2")
		f.set(yearDayMonth, year+s1+"02"+s2+"01", year+s1+"2"+s2+"1")
	case len(c) == 4 || len(c) == 2:
		if len(c) == 2 {
			year = "06"
		}
		f.set(dayFirst, "02"+s1+"01"+s2+year, "2"+s1+"1"+s2+year)
		f.set(monthFirst, "01"+s1+"02"+s2+year, "1"+s1+"2"+s2+year)
		if len(c) == 2 && len(a) == 2 {
			f.set(yearMonthDay, year+s1+"01"+s2+"02", year+s1+"1"+s2+"2")
			f.set(yearDayMonth, year+s1+"02"+s2+"01", year+s1+"2"+s2+"1")
		}
	}
}

// clockLayout gives the layouts of a time of day as written; nothing is a date alone.
func clockLayout(text string) (padded, loose string, twelve, ok bool) {
	if text == "" {
		return "", "", false, true
	}
	p := timeShape.FindStringSubmatch(text)
	if p == nil {
		return "", "", false, false
	}
	hour, loose := "15", "15"
	if p[7] != "" {
		hour, loose, twelve = "03", "3", true
		if len(p[2]) == 1 {
			hour = "3"
		}
	}
	rest := p[3] + "04"
	if p[5] != "" {
		rest += ":05"
		if p[3] == "." {
			rest = ".04.05"
		}
	}
	if p[7] != "" {
		half := "PM"
		if p[7] == strings.ToLower(p[7]) {
			half = "pm"
		}
		rest += p[6] + half
	}
	if p[9] != "" {
		if p[7] == "" {
			rest += p[6]
		}
		rest += p[8]
		switch {
		case p[9] == "Z", len(p[9]) == 6:
			rest += "Z07:00"
		case len(p[9]) == 5:
			rest += "-0700"
		default:
			rest += "-07"
		}
	}
	return p[1] + hour + rest, p[1] + loose + rest, twelve, true
}

// skeleton brings cells of one family together: runs of one or two digits are 9,
// of four 9999, letters a.
func skeleton(cell string) string {
	var b strings.Builder
	run := 0
	flush := func() {
		switch {
		case run == 0:
		case run <= 2:
			b.WriteByte('9')
		default:
			fmt.Fprintf(&b, "9{%d}", run)
		}
		run = 0
	}
	letter := false
	for _, r := range cell {
		if r >= '0' && r <= '9' {
			run++
			letter = false
			continue
		}
		flush()
		if isLetter(r) {
			if !letter {
				b.WriteByte('a')
			}
			letter = true
			continue
		}
		letter = false
		b.WriteRune(r)
	}
	flush()
	return b.String()
}

// read gives the set of orders in which a cell can be read, and one reading.
// latest, unless 0, is a day (20260131) after which no reading can be: where it
// tells orders apart, it is believed.
func (f *family) read(cell []byte, latest int) (set uint8, w normalise.Wall) {
	late := uint8(0)
	for o := range orders {
		if f.loose[o] == "" {
			continue
		}
		if f.forms[o] == nil {
			f.forms[o] = normalise.NewTimeForm(f.loose[o])
		}
		if got, ok := f.forms[o].Read(cell); ok && got.Year >= 1880 && got.Year <= 2120 {
			if set |= 1 << o; latest > 0 && dayNumber(got) > latest {
				late |= 1 << o
			}
			w = got
		}
	}
	if early := set &^ late; early != 0 {
		set = early
	}
	return set, w
}

// dayNumber writes a day as a number in whose order days stand.
func dayNumber(w normalise.Wall) int { return w.Year*10_000 + w.Month*100 + w.Day }

func (e *evidence) add(cell []byte, at Place, unpadded bool, latest int) bool {
	set, w := e.family.read(cell, latest)
	if e.count[set] == 0 {
		e.first[set] = at
	}
	e.count[set]++
	e.unpadded = e.unpadded || unpadded
	if w.HasTime {
		e.timed++
		if w.Of.Hours() >= 13 {
			e.lateHours++
		}
	}
	return set != 0
}

func (e *evidence) merge(o *evidence) {
	for set := range e.count {
		if e.count[set] == 0 {
			e.first[set] = o.first[set]
		}
		e.count[set] += o.count[set]
	}
	e.unpadded = e.unpadded || o.unpadded
	e.timed, e.lateHours = e.timed+o.timed, e.lateHours+o.lateHours
}

// read counts the cells that can be read in some order.
func (e *evidence) read() (n int64) {
	for set := 1; set < len(e.count); set++ {
		n += e.count[set]
	}
	return n
}

// only counts the cells that order a reads and order b does not, with the first.
func (e *evidence) only(a, b int) (n int64, first Place) {
	for set := range e.count {
		if set&(1<<a) == 0 || set&(1<<b) != 0 || e.count[set] == 0 {
			continue
		}
		if n == 0 || e.first[set].File == first.File && e.first[set].Row < first.Row {
			first = e.first[set]
		}
		n += e.count[set]
	}
	return n, first
}

// TimeForm is a way in which an export writes its times.
type TimeForm struct {
	// Layout is what time_format of site.yaml takes, Reads the same for a
	// person: day/month/year hour:minute.
	Layout string `json:"layout"`
	Reads  string `json:"reads"`
	// Proof is where a value stands that no other order reads; nil where the
	// form has no other order.
	Proof *Place `json:"proof,omitempty"`
	// Why says in words what proves the form, or that its cells can have no other.
	Why string `json:"why"`
	// Against counts cells that only another order reads, FirstAgainst is the
	// first of them: typing errors, or another form mixed in.
	Against      int64  `json:"against,omitempty"`
	FirstAgainst *Place `json:"first_against,omitempty"`
}

// verdict is what the evidence of one family comes to: one proven form, or
// several of which none can be excluded.
type verdict struct {
	proven *TimeForm
	open   []TimeForm
	cells  int64
	// noLateHour says that hours run to 12 in many cells without AM or PM.
	noLateHour bool
}

// manyTimes is how many times without an hour after noon are no chance.
const manyTimes = 50

// against is the share of cells that may contradict a proven order.
const against = 0.01

func (e *evidence) decide() verdict {
	v := verdict{cells: e.read(), noLateHour: !e.family.twelve && e.timed >= manyTimes && e.lateHours == 0}
	layouts := e.family.padded
	if e.unpadded {
		layouts = e.family.loose
	}
	var reads [orders]int64
	best := -1
	for o := range orders {
		for set := range e.count {
			if set&(1<<o) != 0 {
				reads[o] += e.count[set]
			}
		}
		if reads[o] > 0 && (best < 0 || reads[o] > reads[best]) {
			best = o
		}
	}
	if best < 0 {
		return v
	}
	form := func(o int) TimeForm { return TimeForm{Layout: layouts[o], Reads: speakLayout(layouts[o])} }
	proven := form(best)
	proven.Why = "no other order of day, month and year fits the form"
	open := []TimeForm{proven}
	for o := range orders {
		if o == best || e.family.loose[o] == "" {
			continue
		}
		mine, at := e.only(best, o)
		theirs, atTheirs := e.only(o, best)
		switch {
		case mine == 0, float64(theirs) > against*float64(mine):
			if reads[o] > 0 {
				open = append(open, form(o))
			}
			continue
		}
		if proven.Proof == nil || reads[o] > 0 {
			proven.Proof = &at
			proven.Why = proof(best, o)
		}
		if theirs > 0 {
			proven.Against += theirs
			proven.FirstAgainst = &atTheirs
		}
	}
	if len(open) == 1 {
		v.proven = &proven
	} else {
		for i := range open {
			open[i].Why = ""
		}
		v.open = open
	}
	return v
}

// proof says what a cell shows that order best reads and order other does not.
func proof(best, other int) string {
	switch {
	case best == dayFirst && other == monthFirst:
		return "the first number is over 12"
	case best == monthFirst && other == dayFirst:
		return "the second number is over 12"
	case best == yearMonthDay && other == yearDayMonth:
		return "the last number is over 12"
	}
	return "in another order it is no date, or one long after the file was made"
}

// epochs are counts of time, which no layout reads.
var epochs = []struct {
	digits    int
	low, high float64
	says      string
}{
	{10, 1.0e9, 2.2e9, "seconds since 1970"},
	{13, 1.0e12, 2.2e12, "milliseconds since 1970"},
	{5, 36500, 55000, "days since 1900, as spreadsheets count"},
}

// speakLayout says a layout for a person.
func speakLayout(layout string) string {
	words := []struct{ part, says string }{
		{"2006", "year"}, {"January", "month by name"}, {"Jan", "month by name"}, {"Z07:00", " offset"}, {"-0700", " offset"}, {"-07", " offset"},
		{"01", "month"}, {"02", "day"}, {"03", "hour"}, {"04", "minute"}, {"05", "second"}, {"06", "year of two digits"}, {"15", "hour"},
		{"PM", "AM or PM"}, {"pm", "am or pm"}, {"1", "month"}, {"2", "day"}, {"3", "hour"},
	}
	var b strings.Builder
next:
	for layout != "" {
		for _, w := range words {
			if strings.HasPrefix(layout, w.part) {
				if b.Len() > 0 && isLetter(rune(b.String()[b.Len()-1])) {
					b.WriteByte(' ')
				}
				b.WriteString(w.says)
				layout = layout[len(w.part):]
				continue next
			}
		}
		b.WriteByte(layout[0])
		layout = layout[1:]
	}
	return strings.ReplaceAll(b.String(), "  ", " ")
}
