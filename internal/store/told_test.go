package store

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// texts is a record of one column; an empty text is null.
func texts(column string, values ...string) arrow.Record {
	b := array.NewStringBuilder(memory.DefaultAllocator)
	for _, v := range values {
		if v == "" {
			b.AppendNull()
		} else {
			b.Append(v)
		}
	}
	schema := arrow.NewSchema([]arrow.Field{{Name: column, Type: arrow.BinaryTypes.String, Nullable: true}}, nil)
	return array.NewRecord(schema, []arrow.Array{b.NewArray()}, int64(len(values)))
}

// toldBy is a reading that tells of those numbers, its note written into a file.
func toldBy(t *testing.T, patients, units []string) Reading {
	t.Helper()
	var told Told
	told.Add(texts(patientColumn, patients...))
	told.Add(texts(unitColumn, units...))
	text := told.bytes()
	path := filepath.Join(t.TempDir(), toldName)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return Reading{Numbers: &File{Path: path, SHA256: SHA256(text), Bytes: int64(len(text))}}
}

func numbersOf(texts ...string) *Numbers {
	n := &Numbers{}
	for _, text := range texts {
		n.Add(text)
	}
	return n
}

// TestTells holds the search against one that looks at each number: lists of all
// lengths, the first and the last number among them.
func TestTells(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for round := range 400 {
		of := func(n int) (some []string) {
			for range n {
				some = append(some, fmt.Sprint(r.IntN(3000)))
			}
			return some
		}
		// Of few numbers each is looked for; of many all that are told are looked through.
		patients, units, wanted := of(r.IntN(40)*r.IntN(20)), of(r.IntN(5)), of(1+r.IntN(6)*(1+r.IntN(2)*9))
		reading := toldBy(t, patients, units)
		ofPatients, ofUnits := reading.Tells(numbersOf(wanted...), numbersOf(wanted...))
		has := func(all []string) bool {
			return slices.ContainsFunc(wanted, func(w string) bool { return slices.Contains(all, w) })
		}
		if ofPatients != has(patients) || ofUnits != has(units) {
			t.Fatalf("round %d: %d patients, %d units, of %v: %v, %v", round, len(patients), len(units), wanted, ofPatients, ofUnits)
		}
		for _, p := range patients {
			if found, _ := reading.Tells(numbersOf(p), nil); !found {
				t.Fatalf("round %d: a number that is told is not found", round)
			}
		}
		if found, _ := reading.Tells(nil, numbersOf(patients...)); found && !slices.ContainsFunc(patients, func(p string) bool { return slices.Contains(units, p) }) {
			t.Error("units were looked for among patients")
		}
	}
	reading := toldBy(t, []string{"", "A"}, nil)
	if found, _ := reading.Tells(numbersOf(""), nil); found {
		t.Error("a row without a number tells of one")
	}
}

// TestTellsOfAll: where nobody noted the numbers, or the note is damaged, every
// number may be told.
func TestTellsOfAll(t *testing.T) {
	for name, damage := range map[string]func(*Reading){
		"none":    func(r *Reading) { r.Numbers = nil },
		"gone":    func(r *Reading) { os.Remove(r.Numbers.Path) },
		"changed": func(r *Reading) { os.WriteFile(r.Numbers.Path, []byte{1, 0, 0, 0, 0, 0, 0, 0, 9}, 0o600) },
		"a bit of it": func(r *Reading) {
			text, _ := os.ReadFile(r.Numbers.Path)
			text[9] ^= 1
			os.WriteFile(r.Numbers.Path, text, 0o600)
		},
		"its checksum": func(r *Reading) {
			text, _ := os.ReadFile(r.Numbers.Path)
			text[len(text)-1] ^= 1
			os.WriteFile(r.Numbers.Path, text, 0o600)
		},
		"cut off": func(r *Reading) {
			text, _ := os.ReadFile(r.Numbers.Path)
			os.WriteFile(r.Numbers.Path, text[:len(text)-checkBytes], 0o600)
		},
		"longer": func(r *Reading) {
			text, _ := os.ReadFile(r.Numbers.Path)
			os.WriteFile(r.Numbers.Path, append(text, 0), 0o600)
		},
		"short": func(r *Reading) {
			text := []byte{9, 0, 0, 0, 0, 0, 0, 0, 9}
			os.WriteFile(r.Numbers.Path, text, 0o600)
			r.Numbers.SHA256, r.Numbers.Bytes = SHA256(text), int64(len(text))
		},
	} {
		reading := toldBy(t, []string{"A"}, []string{"U"})
		damage(&reading)
		patients, units := reading.Tells(numbersOf("B"), numbersOf("V"))
		if !patients || !units {
			t.Errorf("%s: %v, %v", name, patients, units)
		}
		if patients, units := reading.Tells(nil, nil); patients || units {
			t.Errorf("%s: it tells of nothing that was asked", name)
		}
	}
}

// TestNotesOfAnOlderProgram end without a checksum and are held against their hash.
func TestNotesOfAnOlderProgram(t *testing.T) {
	reading := toldBy(t, []string{"A"}, []string{"U"})
	text, err := os.ReadFile(reading.Numbers.Path)
	if err != nil {
		t.Fatal(err)
	}
	text = text[:len(text)-checkBytes]
	if err := os.WriteFile(reading.Numbers.Path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	reading.Numbers.SHA256, reading.Numbers.Bytes = SHA256(text), int64(len(text))
	if patients, units := reading.Tells(numbersOf("A"), numbersOf("V")); !patients || units {
		t.Errorf("it tells of the patient: %v, of a unit that it does not name: %v", patients, units)
	}
}

// TestNumbersHaveOneHash: the hash is written to disk, so that it must stay. The
// hashes were computed by another program (Python) from the published constants of
// FNV-1a.
func TestNumbersHaveOneHash(t *testing.T) {
	for text, want := range map[string]string{"": "8570e254d5", "Z040726000001": "cca7435425", "P1": "2fede3bccb"} {
		if got := fmt.Sprintf("%010x", hashOf(text)); got != want {
			t.Errorf("hash of %q: %s, wanted %s", text, got, want)
		}
	}
	if hashOf("P1") != hashOf([]byte("P1")) {
		t.Error("a text and its bytes differ")
	}
}
