package source

import (
	"errors"
	"fmt"
)

// Error is a fault of a file as a whole, with its place. It holds no cell.
type Error struct {
	// Name is the file's base name. Place is the line, sheet row or segment,
	// 1-based, or 0 where the fault has none.
	Name  string
	Place int64
	// Says what was found, what was wanted and what to do.
	Says string
}

// Error implements error.
func (e *Error) Error() string {
	if e.Place == 0 {
		return e.Name + ": " + e.Says
	}
	return fmt.Sprintf("%s:%d: %s", e.Name, e.Place, e.Says)
}

// NoHeader says that nothing stands where site.yaml states the header.
const NoHeader = "header_row: found nothing on the row that site.yaml states for the header: correct header_row: of this feed, or leave it out"

// PassedOver notes what stands above a header whose row is stated.
func PassedOver(rows, header int64) string {
	return fmt.Sprintf("header_row: the names of the columns are read from row %d; rows above it that hold something and were passed over: %d", header, rows)
}

// At gives a fault without a place its place; any other error stays as it is.
func At(err error, place int64) error {
	var fault *Error
	if errors.As(err, &fault) && fault.Place == 0 {
		return &Error{fault.Name, place, fault.Says}
	}
	return err
}

func (f *File) fault(format string, args ...any) error {
	return &Error{Name: f.name, Says: fmt.Sprintf(format, args...)}
}
