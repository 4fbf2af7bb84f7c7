package site

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"thawline/internal/contract"
)

// ReviewsFile is the name of the file, beside site.yaml, in which a site keeps
// the words of those who read cases.
const ReviewsFile = "reviews.csv"

// Review is a reviewer's word on one episode.
type Review struct {
	// Line is its line in the file.
	Line int
	// Episode is the episode's number as cases.html shows it.
	Episode string
	// Word is the mark that the reviewer would give, one of contract.Marks.
	Word string
	// Date is the local day, as a UTC midnight.
	Date time.Time
}

var reviewColumns = []string{"episode", "word", "date"}

// LoadReviews reads reviews.csv beside the site file (comma or semicolon;
// columns episode, word and date, others are the site's own), in the order of
// the file. A site without the file has none. What is wrong comes back as
// *Faults, all of it; a fault tells the place, never the episode.
func (s *Site) LoadReviews() ([]Review, error) {
	path := filepath.Join(s.Dir, ReviewsFile)
	l := &loader{site: &Site{}, faults: Faults{File: path}}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	data, err := l.read(path, "make it readable, or move it away")
	if err != nil {
		return nil, err
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	r := csv.NewReader(bytes.NewReader(data))
	head, _, _ := bytes.Cut(data, []byte("\n"))
	if bytes.ContainsRune(head, ';') {
		r.Comma = ';'
	}
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	at := map[string]int{}
	var all []Review
	seen := map[string]int{}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			l.faults.List = append(l.faults.List, Fault{Line: bad.Line, Column: bad.Column, Message: "a quote does not close, or stands inside a cell; wanted a cell with quotes around it, or none"})
			break
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		fault := func(column int, message string) {
			l.faults.List = append(l.faults.List, Fault{Line: line, Column: column, Message: message})
		}
		if len(at) == 0 {
			for i, name := range row {
				at[fold(name)] = i + 1
			}
			for _, name := range reviewColumns {
				if at[name] == 0 {
					fault(1, "found no column "+name+", wanted "+strings.Join(reviewColumns, ", "))
				}
			}
			if len(l.faults.List) > 0 {
				break
			}
			continue
		}
		cell := func(name string) (text string, column int) {
			if i := at[name] - 1; i < len(row) {
				_, column = r.FieldPos(i)
				return strings.TrimSpace(row[i]), column
			}
			return "", 1
		}
		one := Review{Line: line}
		text, column := cell("episode")
		if one.Episode = strings.ToLower(text); one.Episode == "" {
			fault(column, "episode: found nothing, wanted the number that cases.html shows")
		}
		text, column = cell("word")
		if one.Word = fold(text); !slices.Contains(contract.Marks, one.Word) {
			// Free text may name a person: it is not repeated.
			fault(column, "word: found no mark, wanted the mark that the reviewer would give: one of "+strings.Join(contract.Marks, ", "))
		}
		text, column = cell("date")
		var failed error
		if one.Date, failed = time.Parse(time.DateOnly, text); failed != nil {
			fault(column, "date: wanted a day as 2026-10-20")
		}
		key := one.Episode + "|" + text
		if first := seen[key]; first > 0 && one.Episode != "" {
			_, column = cell("episode")
			fault(column, "episode: found twice on one day, wanted one word a day: which one holds?")
		}
		seen[key] = line
		all = append(all, one)
	}
	return all, l.sorted()
}

// UnknownReviews reports the reviews of episodes that nobody knows, each with its place.
func UnknownReviews(s *Site, unknown []Review) error {
	if len(unknown) == 0 {
		return nil
	}
	faults := &Faults{File: filepath.Join(s.Dir, ReviewsFile)}
	for _, r := range unknown {
		faults.List = append(faults.List, Fault{Line: r.Line, Column: 1, Message: "episode: no episode of this store has that number, and no pack of it had; wanted one that cases.html shows"})
	}
	return faults
}
