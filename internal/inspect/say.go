package inspect

import (
	"fmt"
	"strings"
)

// Lines tells the findings in words: for each feed what its files are, its
// columns, and what a person must decide.
func (f *Findings) Lines() []string {
	var all []string
	say := func(format string, args ...any) { all = append(all, fmt.Sprintf(format, args...)) }
	for i := range f.Feeds {
		f.Feeds[i].lines(say)
	}
	for _, r := range f.Refused {
		say("%s: not read: %s", r.File, r.Why)
	}
	for _, t := range f.Missing {
		say("missing: no file was taken for %s, and every mark needs it", t)
	}
	return all
}

func (f *Feed) lines(say func(string, ...any)) {
	part := ""
	for _, file := range f.Files {
		if file.Part {
			part = ", the first of each file (--rows 0 looks at all)"
		}
	}
	say("%s (%s): %d rows looked at%s; %s", f.Glob, baseNames(f), f.rows, part, f.Looks)
	switch {
	case f.Table != "" && f.Sure:
		say("  taken for %s", f.Table)
	case f.Table != "":
		say("  taken for %s, not surely", f.Table)
	default:
		say("  taken for no table")
	}
	wide := len("column")
	for _, c := range f.Columns {
		wide = max(wide, len([]rune(c.Name)))
	}
	wide = min(wide, 30)
	for _, c := range f.Columns {
		role := "not used"
		switch {
		case c.Role != "" && c.Sure:
			role = c.Role
		case c.Role != "":
			role = c.Role + ", check"
		case len(c.Might) > 0:
			role = "not decided: " + strings.Join(c.Might[:min(3, len(c.Might))], " or ") + "?"
		}
		say("    %-*s  %-28s %s", wide, c.Name, role, c.Holds)
	}
	for _, form := range f.TimeForms {
		say("  times: %s", formNote(form))
	}
	if f.Decimal != "" {
		say("  decimal: %s; %s", f.Decimal, f.decimalNote)
	}
	for _, u := range f.Undecided {
		say("  ? %s", u)
	}
}
