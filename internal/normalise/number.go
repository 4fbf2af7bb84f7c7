package normalise

import (
	"bytes"
	"math"
	"strconv"
)

// powers holds the powers of ten that a float64 holds exactly.
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// form is how a number that was read is written, as far as it tells which mark
// parts the decimals of its column.
type form byte

// The forms: a number without a mark, or with a point that can only part decimals;
// one with a comma that can only part decimals; one whose point could part
// thousands as well, as in 1.250.
const (
	formPlain form = iota
	formComma
	formPoint
)

// parseNumber reads a decimal number. mark is the mark of its decimals, as the
// feed states it, or 0. Without it a comma stands for the point only where it
// cannot part thousands: "1,5", "0,500" and "1234,567" are read, "1,500" is not.
func parseNumber(b []byte, mark byte) (v float64, f form, ok bool) {
	if mark != 0 {
		if v, ok = markedNumber(b, mark); !ok {
			if bare, grouped := ungrouped(b); grouped {
				v, ok = markedNumber(bare, mark)
			}
		}
		return v, formPlain, ok
	}
	whole := b
	negative := false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		b = b[1:]
	}
	var mantissa uint64
	digits, point := 0, -1
	for i, c := range b {
		switch {
		case c >= '0' && c <= '9':
			mantissa = mantissa*10 + uint64(c-'0')
			digits++
		case c == '.' && point < 0:
			point = i
		case c == ',' && point < 0:
			if groups(b, i) {
				return 0, 0, false
			}
			point = i
		case (c == 'e' || c == 'E') && digits > 0:
			return slowNumber(whole)
		default:
			return 0, 0, false
		}
		// Beyond 15 digits the mantissa is not exact.
		if digits > 15 {
			return slowNumber(whole)
		}
	}
	if digits == 0 || point == len(b)-1 && b[point] == ',' {
		return 0, 0, false
	}
	v = float64(mantissa)
	if point >= 0 {
		v /= powers[len(b)-point-1]
		switch {
		case b[point] == ',':
			f = formComma
		case groups(b, point):
			f = formPoint
		}
	}
	if negative {
		v = -v
	}
	return v, f, true
}

// groups reports whether the only mark of b, at i, could part thousands.
func groups(b []byte, i int) bool {
	return len(b)-i-1 == 3 && i >= 1 && i <= 3 && b[0] != '0'
}

// markedNumber reads a number whose decimals are parted by mark, and whose
// thousands may be parted by the other of point and comma: in groups of three
// digits after one of one to three, or it is no such number.
func markedNumber(b []byte, mark byte) (float64, bool) {
	other := byte('.')
	if mark == '.' {
		other = ','
	}
	var room [48]byte
	bare := room[:0]
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		bare = append(bare, b[0])
		b = b[1:]
	}
	whole, fraction := b, []byte(nil)
	if i := bytes.IndexByte(b, mark); i >= 0 {
		whole, fraction = b[:i], b[i+1:]
		if mark == ',' && len(fraction) == 0 || bytes.IndexByte(fraction, mark) >= 0 || bytes.IndexByte(fraction, other) >= 0 {
			return 0, false
		}
	}
	if i := bytes.IndexByte(whole, other); i >= 0 {
		if i < 1 || i > 3 || whole[0] == '0' {
			return 0, false
		}
		for at := i; at < len(whole); at += 4 {
			if whole[at] != other || len(whole)-at < 4 || bytes.IndexByte(whole[at+1:at+4], other) >= 0 {
				return 0, false
			}
		}
		for _, c := range whole {
			if c != other {
				if c < '0' || c > '9' {
					return 0, false
				}
				bare = append(bare, c)
			}
		}
	} else {
		bare = append(bare, whole...)
	}
	if len(whole) < len(b) {
		bare = append(append(bare, '.'), fraction...)
	}
	v, _, ok := parseNumber(bare, 0)
	return v, ok
}

// separators part thousands and nothing else: spaces (ISO 80000-1, 7.3.1), which
// may be narrow or hold the line, and apostrophes.
var separators = []string{" ", "\u00a0", "\u2009", "\u202f", "'", "’"}

// ungrouped takes out what parts the thousands of a number where it is none of
// point and comma: one kind of separator before each group of three digits, after
// one to three. It is false where there is none, or the groups are others.
func ungrouped(b []byte) (bare []byte, ok bool) {
	whole := bytes.IndexAny(b, ".,")
	if whole < 0 {
		whole = len(b)
	}
	first := 0
	for first < whole && (b[first] >= '0' && b[first] <= '9' || first == 0 && (b[0] == '-' || b[0] == '+')) {
		first++
	}
	bare = append(bare, b[:first]...)
	digits := bytes.TrimLeft(bare, "+-")
	if len(digits) < 1 || len(digits) > 3 || digits[0] == '0' {
		return nil, false
	}
	for _, s := range separators {
		if !bytes.HasPrefix(b[first:whole], []byte(s)) {
			continue
		}
		for _, group := range bytes.Split(b[first+len(s):whole], []byte(s)) {
			if len(group) != 3 || bytes.ContainsFunc(group, func(r rune) bool { return r < '0' || r > '9' }) {
				return nil, false
			}
			bare = append(bare, group...)
		}
		return append(bare, b[whole:]...), true
	}
	return nil, false
}

// whyNoNumber says why a cell that holds a number is not read as one: its marks
// can be read in more than one way, or contradict the one that the feed states.
// It is nil where the cell holds no number by either mark.
func whyNoNumber(b []byte, mark byte) *reason {
	_, b = boundOf(b)
	bare, grouped := ungrouped(b)
	if grouped {
		b = bare
	}
	_, comma := markedNumber(b, ',')
	_, point := markedNumber(b, '.')
	switch {
	case !comma && !point:
		return nil
	case mark != 0:
		return reasonOtherMark
	case grouped:
		return reasonGroups
	case comma && point:
		return reasonMark
	}
	return reasonThousands
}

func slowNumber(b []byte) (float64, form, bool) {
	if len(b) > 400 {
		return 0, 0, false
	}
	b = bytes.Replace(b, []byte(","), []byte("."), 1)
	for _, c := range b {
		// Else words such as Inf and hexadecimal forms would pass.
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, formPlain, err == nil
}

// bounds in the order of the contract's codes of labs.bound: < > <= >=.
var boundSigns = []struct {
	sign string
	code int
}{{"<=", 2}, {"=<", 2}, {">=", 3}, {"=>", 3}, {"≤", 2}, {"≥", 3}, {"<", 0}, {">", 1}}

// boundOf takes the sign of a limit off a text; bound is the index of its code, or -1.
func boundOf(b []byte) (bound int, rest []byte) {
	if len(b) > 0 && (b[0] < '0' || b[0] > '9') {
		for _, s := range boundSigns {
			if len(b) > len(s.sign) && string(b[:len(s.sign)]) == s.sign {
				return s.code, trim(b[len(s.sign):])
			}
		}
	}
	return -1, b
}

// round9 takes off what a conversion leaves beyond the ninth decimal.
func round9(v float64) float64 {
	if r := math.Round(v*1e9) / 1e9; !math.IsInf(r, 0) {
		return r
	}
	return v
}

// thousandths gives v as the contract keeps a DECIMAL; false where it does not fit.
func thousandths(v float64) (int64, bool) {
	t := math.Round(v * 1000)
	return int64(t), t > -1e17 && t < 1e17
}
