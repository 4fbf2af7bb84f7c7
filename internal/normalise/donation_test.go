package normalise

import (
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
)

// published are check characters in print. The UK Red Book (guidelines for the
// blood transfusion services, annex on donation numbers) works one out; the
// others stand in two public lists of test numbers that quote documents of
// ICCBBA, which were not read themselves.
var published = []struct {
	number string
	check  byte
	source string
}{
	{"G123498654321", 'H', "UK Red Book"},
	{"A999914123456", 'N', "quoting ICCBBA"},
	{"C000307001466", '6', "quoting ICCBBA"},
	{"A999922123459", 'H', "quoting ICCBBA"},
	{"A999922654321", 'S', "quoting ICCBBA"},
	{"A999922123458", 'J', "quoting ICCBBA"},
	{"A999922012346", '*', "quoting ICCBBA"},
	{"A999522123456", '*', "quoting ICCBBA"},
	{"G123417654321", 'A', "quoting ICCBBA"},
	{"A999917123456", '9', "quoting ICCBBA"},
	{"A999916123456", 'Q', "quoting ICCBBA"},
}

func TestCheckCharacter(t *testing.T) {
	for _, p := range published {
		if got := check([]byte(p.number)); got != p.check {
			t.Errorf("%s: check character %c, published %c (%s)", p.number, got, p.check, p.source)
		}
		kept, removed, mismatch := donation(nil, []byte(p.number+string(p.check)), false)
		if string(kept) != p.number || !removed || mismatch {
			t.Errorf("%s%c: kept as %s, removed %v, mismatch %v", p.number, p.check, kept, removed, mismatch)
		}
	}
	// Wrong numbers that the same lists print, made by a slip of one or two characters.
	for _, number := range []string{"A999915123456N", "F123498654321H", "C0003070013666", "A999922564321S", "A999920212346*", "A999933123458J", "C0003070014556", "G123468954321H", "B999922123469H"} {
		kept, removed, mismatch := donation(nil, []byte(number), false)
		if !mismatch || removed || string(kept) != number {
			t.Errorf("%s: kept as %s, removed %v, mismatch %v; want it whole and a mismatch", number, kept, removed, mismatch)
		}
	}
}

// Spaces of any width, and what is not seen, are no part of a number.
func TestSpacesInNumbers(t *testing.T) {
	for _, space := range []string{" ", "\u00a0", "\u2009", "\u202f", "\u2007", "\u200b", "\u00ad", "\t"} {
		if kept, removed, _ := donation(nil, []byte("G1234"+space+"98"+space+"654321"+space+"H"), false); string(kept) != "G123498654321" || !removed {
			t.Errorf("%q: kept as %q", space, kept)
		}
		if kept, _, _ := donation(nil, []byte("L\u00f6t"+space+"7"), true); string(kept) != "L\u00f6t7" {
			t.Errorf("%q in a lot: kept as %q", space, kept)
		}
	}
}

// The Red Book's own sum: each character's value times two to the power of its
// place from the right, which ends in H, 17, as 38 less 148,354 modulo 37.
func TestCheckCharacterByHand(t *testing.T) {
	terms := []int{131072, 4096, 4096, 3072, 2048, 2304, 1024, 384, 160, 64, 24, 8, 2}
	sum := 0
	for i, term := range terms {
		c := "G123498654321"[i]
		value := int(c - '0')
		if c >= 'A' {
			value = int(c-'A') + 10
		}
		if value<<(13-i) != term {
			t.Errorf("place %d, %c: %d, printed %d", i+1, c, value<<(13-i), term)
		}
		sum += term
	}
	if sum != 148354 || 38-sum%37 != 17 || check([]byte("G123498654321")) != 'A'+17-10 {
		t.Errorf("sum %d, wanted 148354 and H", sum)
	}
}

// ISO/IEC 7064: the system finds every single wrong character and every two
// neighbours exchanged. Wherever the number keeps its form, ours must find them.
func TestEverySlipIsFound(t *testing.T) {
	slips := 0
	found := func(text string) {
		t.Helper()
		slips++
		if _, removed, mismatch := donation(nil, []byte(text), false); removed || !mismatch {
			t.Errorf("%s: a slip was not found", text)
		}
	}
	for _, p := range published {
		whole := p.number + string(p.check)
		for i := range len(whole) {
			for _, c := range "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*" {
				wrong := whole[:i] + string(c) + whole[i+1:]
				if wrong != whole && (i == 13 || standard([]byte(wrong[:13]))) {
					found(wrong)
				}
			}
			if i < 13 && whole[i] != whole[i+1] {
				if wrong := whole[:i] + whole[i+1:i+2] + whole[i:i+1] + whole[i+2:]; standard([]byte(wrong[:13])) {
					found(wrong)
				}
			}
		}
	}
	if slips < 2500 {
		t.Errorf("%d slips tried", slips)
	}
}

// TestAnotherCheckCharacter holds ours against python-stdnum's implementation of
// ISO/IEC 7064 MOD 37-2, over numbers drawn at random.
func TestAnotherCheckCharacter(t *testing.T) {
	r := rand.New(rand.NewPCG(7064, 37))
	var numbers, ours strings.Builder
	for range 2000 {
		number := []byte{"ABCDEFGHIJKLMNPQRSTUVWXYZ123456789"[r.IntN(34)]}
		for range 4 {
			number = append(number, "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"[r.IntN(36)])
		}
		for range 8 {
			number = append(number, byte('0'+r.IntN(10)))
		}
		fmt.Fprintf(&numbers, "%s\n", number)
		fmt.Fprintf(&ours, "%s%c\n", number, check(number))
	}
	program := "import sys\ntry:\n from stdnum.iso7064 import mod_37_2 as m\nexcept ImportError:\n sys.exit(3)\nfor n in sys.stdin.read().split(): print(n + m.calc_check_digit(n))"
	command := exec.Command("/usr/bin/python3", "-B", "-c", program) // Debian's own: another has not its packages
	command.Stdin = strings.NewReader(numbers.String())
	theirs, err := command.Output()
	var exit *exec.ExitError
	if errors.Is(err, fs.ErrNotExist) || errors.As(err, &exit) && exit.ExitCode() == 3 {
		t.Skip("python3-stdnum is not there (make outside installs it)")
	}
	if err != nil {
		t.Fatal(err)
	}
	if string(theirs) != ours.String() {
		t.Error("python-stdnum gives other check characters")
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
