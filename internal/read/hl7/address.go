package hl7

import (
	"errors"
	"strconv"
	"strings"
)

// Address is a place in a message as the trade writes it: PID-3, SPM-17.1,
// BPX-18.4.2. Component and subcomponent are 1 where they are not written.
type Address struct {
	Segment               string
	Field, Component, Sub int
}

// ParseAddress reads an address.
func ParseAddress(text string) (Address, error) {
	fault := errors.New("wanted a field of a message such as OBR-7, PID-3.1 or ZBX-2")
	name, rest, found := strings.Cut(strings.ToUpper(strings.TrimSpace(text)), "-")
	if !found || len(name) != 3 || !wellFormed([]byte(name)) {
		return Address{}, fault
	}
	a := Address{Segment: name, Component: 1, Sub: 1}
	parts := strings.Split(rest, ".")
	if len(parts) > 3 {
		return Address{}, fault
	}
	for i, into := range []*int{&a.Field, &a.Component, &a.Sub} {
		if i >= len(parts) {
			break
		}
		n, err := strconv.Atoi(parts[i])
		if err != nil || n < 1 || n > 999 {
			return Address{}, fault
		}
		*into = n
	}
	return a, nil
}
