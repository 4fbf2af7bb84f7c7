package normalise

import (
	"bytes"
	"math"
	"strconv"
)

// powers holds the powers of ten that a float64 holds exactly.
var powers = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseNumber reads a decimal number. A comma stands for the point only where
// it cannot part thousands: "1,5", "0,500" and "1234,567" are read, "1,500" is not.
func parseNumber(b []byte) (float64, bool) {
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
			if len(b)-i-1 == 3 && i >= 1 && i <= 3 && b[0] != '0' {
				return 0, false
			}
			point = i
		case (c == 'e' || c == 'E') && digits > 0:
			return slowNumber(whole)
		default:
			return 0, false
		}
		// Beyond 15 digits the mantissa is not exact.
		if digits > 15 {
			return slowNumber(whole)
		}
	}
	if digits == 0 || point == len(b)-1 && b[point] == ',' {
		return 0, false
	}
	v := float64(mantissa)
	if point >= 0 {
		v /= powers[len(b)-point-1]
	}
	if negative {
		v = -v
	}
	return v, true
}

func slowNumber(b []byte) (float64, bool) {
	if len(b) > 400 {
		return 0, false
	}
	b = bytes.Replace(b, []byte(","), []byte("."), 1)
	for _, c := range b {
		// Else words such as Inf and hexadecimal forms would pass.
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil
}

// bounds in the order of the contract's codes of labs.bound: < > <= >=.
var boundSigns = []struct {
	sign string
	code int
}{{"<=", 2}, {"=<", 2}, {">=", 3}, {"=>", 3}, {"≤", 2}, {"≥", 3}, {"<", 0}, {">", 1}}

// parseBound reads a number with or without a sign of a limit before it; bound
// is the index of its code, or -1.
func parseBound(b []byte) (v float64, bound int, ok bool) {
	bound = -1
	if len(b) > 0 && (b[0] < '0' || b[0] > '9') {
		for _, s := range boundSigns {
			if len(b) > len(s.sign) && string(b[:len(s.sign)]) == s.sign {
				bound, b = s.code, trim(b[len(s.sign):])
				break
			}
		}
	}
	v, ok = parseNumber(b)
	return v, bound, ok
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
