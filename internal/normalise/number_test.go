package normalise

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{
		"1.5": 1.5, "150": 150, "-2": -2, "+3.25": 3.25, ".5": 0.5, "5.": 5, "0.1": 0.1, "1e3": 1000, "123456789012345678": 123456789012345678,
		// A comma that cannot part thousands is a point.
		"1,5": 1.5, "0,500": 0.5, "12,34": 12.34, "1234,567": 1234.567, "1,5000": 1.5,
	} {
		if v, ok := parseNumber([]byte(text)); !ok || v != want {
			t.Errorf("%q: %v %v, want %v", text, v, ok, want)
		}
	}
	// "1,500" may be one and a half or one thousand five hundred.
	for _, text := range []string{"", "-", ".", "1,500", "12,500", "150,000", "1.500,2", "1,500.2", "1.2.3", "1,2,3", "abc", "Inf", "NaN", "0x10", "1 5", "e5", "1e", "1,", "--1", "1e999"} {
		if v, ok := parseNumber([]byte(text)); ok {
			t.Errorf("%q was read as %v", text, v)
		}
	}
}

// TestParseNumberAgreesWithTheLibrary holds the quick reading to Go's own,
// which rounds correctly.
func TestParseNumberAgreesWithTheLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,18}(\.[0-9]{1,18})?`).Draw(t, "number")
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := parseNumber([]byte(text)); !ok || math.Float64bits(got) != math.Float64bits(want) && got != want {
			t.Fatalf("%q: %v %v, the library reads %v", text, got, ok, want)
		}
	})
}

func TestParseBound(t *testing.T) {
	for text, want := range map[string]string{
		">9.0": "9 1", "<0.5": "0.5 0", "<= 0.3": "0.3 2", ">=120": "120 3", "≥ 120": "120 3", "≤5": "5 2", "2.4": "2.4 -1", "> 10": "10 1", "=>4": "4 3",
	} {
		v, bound, ok := parseBound([]byte(text))
		if got := fmt.Sprint(v, bound); !ok || got != want {
			t.Errorf("%q: %s %v, want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{">", "<>5", ">high", "", "≥"} {
		if _, _, ok := parseBound([]byte(text)); ok {
			t.Errorf("%q was read as a number", text)
		}
	}
}
