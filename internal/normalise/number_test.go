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
		if v, _, ok := parseNumber([]byte(text), 0); !ok || v != want {
			t.Errorf("%q: %v %v, want %v", text, v, ok, want)
		}
	}
	// "1,500" may be one and a half or one thousand five hundred.
	for _, text := range []string{"", "-", ".", "1,500", "12,500", "150,000", "1.500,2", "1,500.2", "1.2.3", "1,2,3", "abc", "Inf", "NaN", "0x10", "1 5", "e5", "1e", "1,", "--1", "1e999"} {
		if v, _, ok := parseNumber([]byte(text), 0); ok {
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
		if got, _, ok := parseNumber([]byte(text), 0); !ok || math.Float64bits(got) != math.Float64bits(want) && got != want {
			t.Fatalf("%q: %v %v, the library reads %v", text, got, ok, want)
		}
	})
}

// parseBound reads a number with or without a sign of a limit before it.
func parseBound(text string) (v float64, bound int, ok bool) {
	bound, rest := boundOf([]byte(text))
	v, _, ok = parseNumber(rest, 0)
	return v, bound, ok
}

func TestParseBound(t *testing.T) {
	for text, want := range map[string]string{
		">9.0": "9 1", "<0.5": "0.5 0", "<= 0.3": "0.3 2", ">=120": "120 3", "≥ 120": "120 3", "≤5": "5 2", "2.4": "2.4 -1", "> 10": "10 1", "=>4": "4 3",
	} {
		v, bound, ok := parseBound(text)
		if got := fmt.Sprint(v, bound); !ok || got != want {
			t.Errorf("%q: %s %v, want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{">", "<>5", ">high", "", "≥"} {
		if _, _, ok := parseBound(text); ok {
			t.Errorf("%q was read as a number", text)
		}
	}
}

// A stated mark decides what a point and a comma are, and what contradicts it is
// no number.
func TestMarkedNumber(t *testing.T) {
	for _, c := range []struct {
		mark byte
		read map[string]float64
		not  []string
	}{
		{',', map[string]float64{"1,900": 1.9, "41,500": 41.5, "1.250": 1250, "1.250,5": 1250.5, "12.345.678,9": 12345678.9, "0,5": 0.5, ",5": 0.5, "-1,5": -1.5, "7": 7, "1250": 1250, "1,5e1": 15},
			[]string{"1.5", "1.25", "0.250", "1250.000", "1.2500", "1.250.5", "1,2,3", "1.250,", "1,", "1,250.5", "12.34.567", ".250", "1..250", "", "-", "abc", "1.25a"}},
		{'.', map[string]float64{"1.900": 1.9, "1,250": 1250, "1,250.5": 1250.5, "1,234,567": 1234567, "0.5": 0.5, "5.": 5, "7": 7},
			[]string{"1,5", "0,250", "1250,000", "1,2,3", "1.250,5", "1.2.3", ",5", "", "abc"}},
	} {
		for text, want := range c.read {
			if v, _, ok := parseNumber([]byte(text), c.mark); !ok || v != want {
				t.Errorf("%q by %q: %v %v, want %v", text, c.mark, v, ok, want)
			}
		}
		for _, text := range c.not {
			if v, _, ok := parseNumber([]byte(text), c.mark); ok {
				t.Errorf("%q by %q was read as %v", text, c.mark, v)
			}
		}
	}
}

// Whatever a number is, written in either style with its thousands parted, it
// reads as itself by the mark of that style.
func TestMarkedNumberReadsWhatIsWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole := rapid.Uint64Range(0, 999_999_999).Draw(t, "whole")
		digits := strconv.FormatUint(whole, 10)
		fraction := rapid.StringMatching(`[0-9]{0,4}`).Draw(t, "fraction")
		comma := rapid.Bool().Draw(t, "comma")
		mark, parts := byte('.'), ","
		if comma {
			mark, parts = ',', "."
		}
		written := digits
		for i := len(digits) - 3; i > 0; i -= 3 {
			written = written[:i] + parts + written[i:]
		}
		plain := digits
		if fraction != "" {
			written, plain = written+string(mark)+fraction, plain+"."+fraction
		}
		want, _ := strconv.ParseFloat(plain, 64)
		if v, _, ok := parseNumber([]byte(written), mark); !ok || v != want {
			t.Fatalf("%q by %q: %v %v, want %v", written, mark, v, ok, want)
		}
	})
}

// Groups are of three digits after one to three, parted by one kind of sign, or
// they are no thousands.
func TestUngrouped(t *testing.T) {
	for text, want := range map[string]string{"1 250": "1250", "12’345’678": "12345678", "-1'250,5": "-1250,5", "150\u202f000.25": "150000.25",
		"1250": "", "1 25": "", "1 2500": "", "0 250": "", "1 250'000": "", "1  250": "", " 250": "", "1250 000": "", "1 250 ": "", "a 250": "", "1 2x0": "", "": "", "-": "", "1 250,5 6": "1250,5 6"} {
		if got, ok := ungrouped([]byte(text)); string(got) != want || ok != (want != "") {
			t.Errorf("%q: %q %v, want %q", text, got, ok, want)
		}
	}
	if why := whyNoNumber([]byte("1 250,5 6"), 0); why != nil {
		t.Errorf("a number was seen: %s", why.says)
	}
}
