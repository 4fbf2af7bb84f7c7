package figure

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"thawline/internal/stat"
	"thawline/internal/words"
)

// Format writes numbers for readers.
type Format struct {
	// Comma writes a decimal comma, and a point between thousands.
	Comma bool
	// Small is the smallest count that is shown.
	Small int64
	// DateForm is how a day is written, as Go's reference time; 2006-01-02 where empty.
	DateForm string
	// Language gives the words; English where it is nil.
	Language *words.Language
}

// Say gives the words of a key in the format's language.
func (f Format) Say(key string, args ...any) string { return f.language().Say(key, args...) }

// Text gives what a figure or dashboard says in English in the format's language.
func (f Format) Text(english string) string { return f.language().Text(english) }

// Own is Text of what the program itself says, and no site: its numbers are written as
// the site writes them.
func (f Format) Own(english string) string { return f.language().Own(english) }

// Fact names a fact by its column in the format's language.
func (f Format) Fact(column string) string { return f.language().Fact(column) }

func (f Format) language() *words.Language {
	l := f.Language
	if l == nil {
		l = words.English()
	}
	if f.Comma {
		return l.WithComma()
	}
	return l
}

// Tag is the language as a page states it.
func (f Format) Tag() string { return f.language().Name }

// Day writes a day, whatever the hour; nothing for no day.
func (f Format) Day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if f.DateForm == "" {
		return t.Format(time.DateOnly)
	}
	return t.Format(f.DateForm)
}

// Clock writes a day and the time on its clock.
func (f Format) Clock(t time.Time) string { return f.Day(t) + t.Format(" 15:04") }

// Range writes a range of two numbers already written.
func (f Format) Range(low, high string) string { return f.Say("range", low, high) }

// Whole writes a whole number with its thousands parted.
func (f Format) Whole(n int64) string {
	if n < 0 {
		return "−" + f.Whole(-n)
	}
	s := strconv.FormatInt(n, 10)
	mark := ","
	if f.Comma {
		mark = "."
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + mark + s[i:]
	}
	return s
}

// Number writes a number to so many decimals at most, without trailing zeros, its
// thousands parted.
func (f Format) Number(x float64, decimals int) string {
	s := f.Fixed(x, decimals)
	if decimals > 0 {
		s = strings.TrimSuffix(strings.TrimRight(s, "0"), f.mark())
	}
	return s
}

// Fixed writes a number to just so many decimals, its thousands parted.
func (f Format) Fixed(x float64, decimals int) string {
	whole, rest, _ := strings.Cut(strconv.FormatFloat(math.Abs(x), 'f', decimals, 64), ".")
	sign := ""
	if x < 0 && strings.Trim(whole+rest, "0") != "" {
		sign = "−"
	}
	if n, err := strconv.ParseInt(whole, 10, 64); err == nil {
		whole = f.Whole(n)
	}
	if rest != "" {
		rest = f.mark() + rest
	}
	return sign + whole + rest
}

// mark stands before the decimals.
func (f Format) mark() string {
	if f.Comma {
		return ","
	}
	return "."
}

// Percent writes a fraction of one: 0.417 is 42 %.
func (f Format) Percent(x float64) string {
	if p := x * 100; p > 0 && p < 10 {
		return f.Number(p, 1) + " %"
	}
	return f.Number(x*100, 0) + " %"
}

// Month writes 2026-10 as Oct 2026.
func (f Format) Month(month string) string {
	year, m, _ := strings.Cut(month, "-")
	n, err := strconv.Atoi(m)
	if err != nil || n < 1 || n > 12 {
		return month
	}
	return f.Say("month_year", f.language().Months[n-1], year)
}

// datedForm is a name and its month.
var datedForm = regexp.MustCompile(`^(.+) ([0-9]{4}-[0-9]{2})$`)

// mostDated is how many of a list of names with their months are named.
const mostDated = 8

// dated writes the months of a list of names as those of a column of months. Of a
// long list the first are named, and the others counted.
func (f Format) dated(list string) string {
	names := strings.Split(list, ", ")
	more := len(names) - mostDated
	names = names[:min(len(names), mostDated)]
	for i, name := range names {
		if m := datedForm.FindStringSubmatch(name); m != nil {
			names[i] = f.Text(m[1]) + " " + f.Month(m[2])
		} else {
			names[i] = f.Text(name)
		}
	}
	text := strings.Join(names, ", ")
	if more > 0 {
		return f.Say("and_more", text, f.Whole(int64(more)))
	}
	return text
}

// Cell writes a cell of a column.
func (f Format) Cell(c Column, cell Cell) string {
	if cell.Hidden {
		return f.Say("hidden")
	}
	switch v := cell.Value.(type) {
	case nil:
		return "–"
	case string:
		switch c.Kind {
		case Month:
			return f.Month(v)
		case Dated:
			return f.dated(v)
		}
		return f.Text(v)
	case bool:
		if v {
			return f.Say("yes")
		}
		return f.Say("no")
	case int64:
		return f.Whole(v)
	case float64:
		if c.Kind == Share {
			return f.Percent(v)
		}
		return f.Number(v, mostDecimals)
	}
	return fmt.Sprint(cell.Value)
}

// mostDecimals is how many decimals a number of a table has at most.
const mostDecimals = 2

// Cells writes the cells of a column of the points: its numbers all to as many
// decimals as one of them needs.
func (f *Figure) Cells(i int, format Format) []string {
	decimals := 0
	for _, row := range f.Rows {
		if x, ok := row[i].Value.(float64); ok {
			_, rest, _ := strings.Cut(Format{}.Number(x, mostDecimals), ".")
			decimals = max(decimals, len(rest))
		}
	}
	all := make([]string, len(f.Rows))
	for r, row := range f.Rows {
		x, ok := row[i].Value.(float64)
		if all[r] = format.Cell(f.Points[i], row[i]); ok && f.Points[i].Kind == Number {
			all[r] = format.Fixed(x, decimals)
		}
	}
	return all
}

// holeForm is {name}, or {name:one|many}.
var holeForm = regexp.MustCompile(`\{([a-z0-9_]+)(?::([^{}|]*)\|([^{}|]*))?\}`)

// asideForm is what stands in parentheses and holds a place to fill in, clauseForm
// what stands in brackets: it is said where a value of it is not nought.
var (
	asideForm  = regexp.MustCompile(` \([^()]*\{[^()]*\)`)
	clauseForm = regexp.MustCompile(`\[[^\[\]{}]*\{[^\[\]]*\]`)
)

// Holes lists the names between braces in a sentence.
func Holes(says string) []string {
	var names []string
	for _, m := range holeForm.FindAllStringSubmatch(says, -1) {
		names = append(names, m[1])
	}
	return names
}

// When names, in words, the pack's period and the longer span of distributions,
// and says which feeds the site does not have.
type When struct {
	Period, Span string
	Lacking      map[string]bool
}

// Fill writes period and span into the title of a column.
func (w When) Fill(title string) string {
	return strings.NewReplacer("{period}", w.Period, "{span}", w.Span).Replace(title)
}

// Intro is the line under a section's title. What stands in brackets is said where
// the section speaks of more than the period.
func (w When) Intro(text string) string {
	return w.Fill(clauseForm.ReplaceAllStringFunc(text, func(clause string) string {
		if w.Span == w.Period {
			return ""
		}
		return clause[1 : len(clause)-1]
	}))
}

// Say fills a panel's sentence from the figure's answer.
func (f *Figure) Say(p Panel, format Format, when When) string {
	says, adds := p.Says, ""
	of, hasOf := f.Whole("of")
	none := (hasOf && of == 0) || (!f.has("of") && len(f.Rows) == 0)
	if p.SaysNone != "" && none {
		says = p.SaysNone
	} else if p.SaysZero != "" && f.Zero() {
		says = p.SaysZero
	}
	replaced, nothing := false, false
	for _, one := range p.Without {
		switch {
		case !when.Lacking[one.Feed]:
		case one.Says != "" && !replaced:
			// The first that is lacking speaks.
			replaced, nothing = true, one.Nothing
			if says = one.Says; none && one.SaysNone != "" {
				says = one.SaysNone
			}
		case one.Adds != "" && !none:
			// Where there is nothing there is nothing to add to.
			adds += " " + f.fill(p, one.Adds, format, when)
		}
	}
	if nothing {
		adds = ""
	}
	return f.fill(p, says, format, when) + adds
}

// Zero says that none was counted of some.
func (f *Figure) Zero() bool {
	return f.Values["n"].Value == int64(0) && f.Values["of"].Value != int64(0)
}

// Note fills a panel's note from the figure's answer.
func (f *Figure) Note(p Panel, format Format, when When) string {
	return f.fill(p, p.Note, format, when)
}

func (f *Figure) has(name string) bool { _, ok := f.Values[name]; return ok }

func (f *Figure) fill(p Panel, says string, format Format, when When) string {
	text := f.holes(p, says, format, when)
	if text == "" {
		return text
	}
	// A hole that opens a later sentence may have been filled with words.
	hidden := format.Say("number_not_shown")
	text = strings.ReplaceAll(text, ". "+hidden, ". "+capital(hidden))
	return capital(text)
}

// capital begins a text with a capital letter.
func capital(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + text[size:]
}

// tells says that a value of a sentence has something to tell.
func (f *Figure) tells(p Panel, name string, format Format) bool {
	cell, ok := f.Values[name]
	switch {
	case ok:
		return !cell.Hidden && cell.Value != nil
	case p.Per > 0 && (name == "rate" || name == "interval"):
		return f.RateInterval(p, format) != ""
	case name == "share" || name == "interval":
		return f.Interval(format) != ""
	}
	return true
}

// worth says that a clause has something to say: a value of it is neither nought nor
// without any number. What is hidden is never nought.
func (f *Figure) worth(clause string) bool {
	return slices.ContainsFunc(Holes(clause), func(name string) bool {
		cell, ok := f.Values[name]
		return ok && (cell.Hidden || cell.Value != nil && cell.Value != int64(0) && cell.Value != 0.0 && cell.Value != "")
	})
}

func (f *Figure) holes(p Panel, says string, format Format, when When) string {
	says = clauseForm.ReplaceAllStringFunc(says, func(clause string) string {
		if clause = clause[1 : len(clause)-1]; f.worth(clause) {
			return clause
		}
		return ""
	})
	says = asideForm.ReplaceAllStringFunc(says, func(aside string) string {
		if slices.ContainsFunc(Holes(aside), func(name string) bool { return f.tells(p, name, format) }) {
			return aside
		}
		return ""
	})
	return holeForm.ReplaceAllStringFunc(says, func(hole string) string {
		parts := holeForm.FindStringSubmatch(hole)
		name := parts[1]
		if strings.Contains(hole, ":") {
			if n, ok := f.Whole(name); ok && n == 1 {
				return parts[2]
			}
			return parts[3]
		}
		if name == "period" {
			return when.Period
		}
		if name == "span" {
			return when.Span
		}
		if cell, ok := f.Values[name]; ok {
			if cell.Hidden && name == "of" {
				return format.Say("whole_not_shown")
			}
			for _, c := range f.Answer {
				if c.Name != name {
					continue
				}
				if cell.Hidden && (c.Kind == Count || c.Kind == Units) {
					return format.Say("number_not_shown")
				}
				list, ok := cell.Value.(string)
				if !ok || c.Kind != Label {
					return format.Cell(c, cell)
				}
				if format.Text(list) == list {
					// Names may stand in a list, each with its own words.
					names := strings.Split(list, ", ")
					for i := range names {
						names[i] = format.Text(names[i])
					}
					return Isolated(strings.Join(names, ", "))
				}
				return Isolated(format.Text(list))
			}
			if cell.Hidden {
				return format.Say("number_not_shown")
			}
		}
		if p.Per > 0 && name == "rate" {
			if rate, _, ok := f.Rate(p.Y[0], p.Per); ok {
				return format.Fixed(rate, 1)
			}
			return format.Say("not_shown")
		}
		if p.Per > 0 && name == "interval" {
			return f.RateInterval(p, format)
		}
		n, hasN := f.Whole("n")
		of, hasOf := f.Whole("of")
		if !hasN || !hasOf || of == 0 {
			return format.Say("not_shown")
		}
		if name == "share" {
			return format.Percent(float64(n) / float64(of))
		}
		return f.Interval(format)
	})
}

// Interval is the 95 % interval of n of of in words, empty where either is
// missing or hidden.
func (f *Figure) Interval(format Format) string {
	n, hasN := f.Whole("n")
	of, hasOf := f.Whole("of")
	if !hasN || !hasOf || of == 0 || n > of {
		return ""
	}
	return format.interval(stat.Wilson(int(n), int(of)))
}

// interval writes an interval of shares.
func (f Format) interval(i stat.Interval) string {
	return f.Range(f.Percent(i.Low), f.Percent(i.High))
}

// RateInterval is the 95 % interval of a panel's rate in words, empty where there
// is none.
func (f *Figure) RateInterval(p Panel, format Format) string {
	_, i, ok := f.Rate(p.Y[0], p.Per)
	if !ok {
		return ""
	}
	return format.Range(format.Fixed(i.Low, 1), format.Fixed(i.High, 1))
}

// Isolated keeps the direction of writing of a text of the site's own from turning
// what stands on the same line: U+2068 to U+2069, where it has any to turn it by.
func Isolated(text string) string {
	for _, r := range text {
		// All of these lie from U+0590 on, and most texts before it.
		if r >= 0x590 && unicode.In(r, unicode.Bidi_Control, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana) {
			return "\u2068" + text + "\u2069"
		}
	}
	return text
}
