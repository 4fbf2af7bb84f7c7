package normalise

// resultFlags are what laboratories print behind a number to say where it lies:
// the interpretation codes of HL7 table 0078 that are of a quantity (H, HH, L, LL,
// N, A, AA; < and > say that it lies beyond the analyser's scale), and the signs
// in their place (common practice). beside says which stand at the number without
// a space: one more letter may be anything, and a minus a range cut short.
var resultFlags = map[string]struct {
	beside bool
	bound  int // of the contract's codes of labs.bound, or -1
}{
	"H": {true, -1}, "HH": {true, -1}, "L": {true, -1}, "LL": {true, -1}, "N": {false, -1}, "A": {false, -1}, "AA": {false, -1},
	"<": {false, 0}, ">": {false, 1},
	"*": {true, -1}, "**": {true, -1}, "+": {false, -1}, "++": {false, -1}, "-": {false, -1}, "--": {false, -1}, "!": {true, -1}, "!!": {true, -1},
	"↑": {true, -1}, "↑↑": {true, -1}, "↓": {true, -1}, "↓↓": {true, -1},
}

// unflagged takes a flag off the end of a text that begins with a number, and says
// which bound it means, or -1; false where none is there.
func unflagged(b []byte) (number []byte, bound int, ok bool) {
	end := 0
	for end < len(b) && (b[end] >= '0' && b[end] <= '9' || b[end] == '.' || b[end] == ',' || end == 0 && (b[end] == '-' || b[end] == '+')) {
		end++
	}
	if end == 0 || end == len(b) || b[end-1] < '0' || b[end-1] > '9' {
		return nil, -1, false
	}
	text := trim(b[end:])
	apart := len(text) < len(b)-end
	if n := len(text); n > 2 && (text[0] == '(' && text[n-1] == ')' || text[0] == '[' && text[n-1] == ']') {
		text, apart = trim(text[1:n-1]), true
	}
	flag, known := resultFlags[string(text)]
	if !known || !apart && !flag.beside {
		return nil, -1, false
	}
	return b[:end], flag.bound, true
}

// flagged is unflagged of a text from which the sign of a limit was taken off; a
// flag and a sign that point to opposite ends tell nothing, and no flag is taken.
func flagged(b []byte, sign int) (number []byte, bound int, ok bool) {
	number, bound, ok = unflagged(b)
	switch {
	case !ok:
		return nil, sign, false
	case sign < 0:
		return number, bound, true
	}
	// Odd codes of bounds are > and >=.
	return number, sign, bound < 0 || bound%2 == sign%2
}
