package normalise

import "testing"

// Check characters as published: the UK Red Book annex on donation numbers
// (G1234 98 654321 H, with its sum worked out) and ICCBBA's documents on the
// donation identification number.
var published = map[string]byte{
	"G123498654321": 'H', "A999914123456": 'N', "C000307001466": '6', "A999922123459": 'H', "A999922654321": 'S', "A999922123458": 'J',
	"A999922012346": '*', "A999522123456": '*', "G123417654321": 'A', "A999917123456": '9', "A999916123456": 'Q',
}

func TestCheckCharacter(t *testing.T) {
	for number, want := range published {
		if got := check([]byte(number)); got != want {
			t.Errorf("%s: check character %c, published %c", number, got, want)
		}
		kept, removed, mismatch := donation(nil, []byte(number+string(want)), false)
		if string(kept) != number || !removed || mismatch {
			t.Errorf("%s%c: kept as %s, removed %v, mismatch %v", number, want, kept, removed, mismatch)
		}
	}
	// Wrong numbers, made from the published ones by a slip of one or two characters.
	for _, number := range []string{"A999915123456N", "F123498654321H", "C0003070013666", "A999922564321S", "A999920212346*", "A999933123458J", "C0003070014556", "G123468954321H", "B999922123469H"} {
		kept, removed, mismatch := donation(nil, []byte(number), false)
		if !mismatch || removed || string(kept) != number {
			t.Errorf("%s: kept as %s, removed %v, mismatch %v; want it whole and a mismatch", number, kept, removed, mismatch)
		}
	}
}

func TestDonationNumber(t *testing.T) {
	for text, want := range map[string]string{
		"G1234 98 654321 H": "G123498654321", "=G12349865432100": "G123498654321", "=G123498654321": "G123498654321", "g123498654321h": "G123498654321",
		"g123498654321": "G123498654321", "u 1": "u1", "G12349865432100": "G12349865432100", "12-345": "12-345", "O123498654321H": "O123498654321H",
	} {
		if got, _, mismatch := donation(nil, []byte(text), false); string(got) != want || mismatch {
			t.Errorf("%q: %s (mismatch %v), want %s", text, got, mismatch, want)
		}
	}
	if got, _, _ := donation(nil, []byte("G1234 98 654321 H"), true); string(got) != "G123498654321H" {
		t.Errorf("a batch number became %s", got)
	}
}
