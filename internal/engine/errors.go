package engine

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// kinds maps the first words of the engine's messages to what a person needs
// to know. Messages of these kinds speak of the query's text alone; all others
// may quote cells of a row and are told by kind only.
var kinds = []struct {
	prefix string
	speaks bool
}{
	{"Parser Error", true},
	{"Binder Error", true},
	{"Catalog Error", true},
	{"Permission Error", true},
	{"Missing Extension Error", true},
	{"Not implemented Error", true},
	{"Out of Memory Error", true},
	{"IO Error", true},
	{"Conversion Error", false},
	{"Invalid Input Error", false},
	{"Out of Range Error", false},
	{"Constraint Error", false},
}

// line finds the engine's own pointer into a query.
var line = regexp.MustCompile(`LINE (\d+):`)

// Error is what the engine said, with nothing of the data in it.
type Error struct {
	// What names the query.
	What string
	// Line is the line of the query's text, or 0 where the engine names none.
	Line int
	// Message is the engine's word, first line only.
	Message string
	// Failed says that the engine failed at its work, for which the query may not
	// be to blame: a file may be damaged.
	Failed bool
}

// Error gives place and message.
func (e *Error) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("%s:%d: %s", e.What, e.Line, e.Message)
	}
	return fmt.Sprintf("%s: %s", e.What, e.Message)
}

// explain turns an engine's error into one that quotes no cell.
func explain(what string, err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("%s: %w", what, err)
	}
	text := err.Error()
	found := &Error{What: what, Message: "the engine failed (its words may quote a record and are not shown)", Failed: true}
	if m := line.FindStringSubmatch(text); m != nil {
		fmt.Sscan(m[1], &found.Line)
	}
	for _, k := range kinds {
		at := strings.Index(text, k.prefix)
		if at < 0 {
			continue
		}
		found.Failed = k.prefix == "IO Error"
		if k.speaks {
			found.Message, _, _ = strings.Cut(text[at:], "\n")
		} else {
			found.Message = k.prefix + " (its words quote a record and are not shown)"
		}
		break
	}
	return found
}
