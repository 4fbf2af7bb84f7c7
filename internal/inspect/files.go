package inspect

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// datedName finds the dates that file_date of site.yaml can read in a name.
var datedName = regexp.MustCompile(`(?:^|\D)(\d{4}-\d{2}-\d{2}|\d{8}|\d{4}-\d{2})(?:\D|$)`)

// dateIn gives the day in a base name as YYYY-MM-DD, a month meaning its last
// day, and the text that says it; nothing where there is none.
func dateIn(base string) (day, text string) {
	for _, found := range datedName.FindAllStringSubmatch(base, -1) {
		text := found[1]
		for _, form := range []string{time.DateOnly, "20060102", "2006-01"} {
			t, err := time.Parse(form, text)
			if err != nil || t.Year() < 1990 || t.Year() > 2100 {
				continue
			}
			if form == "2006-01" {
				t = t.AddDate(0, 1, -1)
			}
			return t.Format(time.DateOnly), text
		}
	}
	return "", ""
}

// madeBy gives the last day on which a file of that base name can have been made,
// as site.Feed does: of a month alone the day after it.
func madeBy(base string) string {
	day, text := dateIn(base)
	if last, err := time.Parse(time.DateOnly, day); err == nil && len(text) == len("2006-01") {
		return last.AddDate(0, 0, 1).Format(time.DateOnly)
	}
	return day
}

// dayOf writes YYYY-MM-DD as a number in whose order days stand.
func dayOf(day string) int {
	n := 0
	for _, r := range day {
		if r >= '0' && r <= '9' {
			n = n*10 + int(r-'0')
		}
	}
	return n
}

// datePattern gives the file_date that finds the date in all of the names: what
// stands before the date is the same in all, and stands in the pattern.
func datePattern(names []string) string {
	form := map[int]string{10: `\d{4}-\d{2}-\d{2}`, 8: `\d{8}`, 7: `\d{4}-\d{2}`}
	before, width := "", 0
	for i, name := range names {
		_, text := dateIn(name)
		if text == "" {
			return ""
		}
		head := name[:strings.Index(name, text)]
		if i == 0 {
			before, width = head, len(text)
		}
		if len(text) != width {
			return ""
		}
		for !strings.HasSuffix(head, before) {
			before = before[1:]
		}
	}
	return regexp.QuoteMeta(before) + "(" + form[width] + ")"
}

// globOf gives a pattern for the paths of one feed: what is the same in all names
// stays, and what changes, or is a date, is a star.
func globOf(paths []string) string {
	folder := filepath.Dir(paths[0])
	var bases []string
	for _, p := range paths {
		if filepath.Dir(p) != folder {
			folder = ""
		}
		bases = append(bases, filepath.Base(p))
	}
	if folder == "" {
		return ""
	}
	pattern := escape(bases[0])
	if _, text := dateIn(bases[0]); text != "" {
		at := strings.Index(bases[0], text)
		pattern = escape(bases[0][:at]) + "*" + escape(bases[0][at+len(text):])
	}
	if !matchesAll(pattern, bases) {
		head, tail := bases[0], bases[0]
		for _, b := range bases {
			for !strings.HasPrefix(b, head) {
				head = head[:len(head)-1]
			}
			for !strings.HasSuffix(b, tail) {
				tail = tail[1:]
			}
		}
		// A number that only some names share is no part of what they are.
		head = strings.TrimRight(head, "0123456789")
		tail = strings.TrimLeft(tail, "0123456789")
		if len(head)+len(tail) > len(bases[0]) {
			tail = tail[min(len(tail), len(head)+len(tail)-len(bases[0])):]
		}
		pattern = escape(head) + "*" + escape(tail)
	}
	return filepath.ToSlash(filepath.Join(folder, pattern))
}

func matchesAll(pattern string, bases []string) bool {
	return !slices.ContainsFunc(bases, func(b string) bool {
		ok, err := filepath.Match(pattern, b)
		return !ok || err != nil
	})
}

// escape keeps the signs of a pattern in a name from meaning anything.
func escape(name string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(name)
}

// globs gives each feed its pattern, and says where one would catch the files of
// another feed too.
func globs(feeds []Feed) {
	for i := range feeds {
		f := &feeds[i]
		var paths []string
		for _, file := range f.Files {
			paths = append(paths, file.Path)
		}
		f.Glob = globOf(paths)
		if f.Glob == "" {
			f.Glob = filepath.ToSlash(escape(paths[0]))
			f.Undecided = append(f.Undecided, fmt.Sprintf("files: its %d files lie in several folders: put them into one, or copy this feed for each", len(paths)))
		}
		for j := range feeds {
			if j == i || f.messages && feeds[j].messages || f.Sheet != "" && feeds[j].Sheet != "" {
				continue // Several feeds read one file of messages, or one workbook.
			}
			for _, other := range feeds[j].Files {
				if ok, err := filepath.Match(filepath.FromSlash(f.Glob), other.Path); ok || err != nil {
					f.Undecided = append(f.Undecided, fmt.Sprintf("files: %s also matches %s, which has another header: rename the files of one of the two, or name them one by one", f.Glob, filepath.Base(other.Path)))
					break
				}
			}
		}
	}
}
