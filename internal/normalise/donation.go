package normalise

import "unicode/utf8"

// donation brings a unit number to the form in which it is kept: without
// spaces of any width and what is not seen, without the = of a scanned bar code, and, where it is a 13-character
// donation number of the standard form, in capitals and without the check
// character or the flags that follow. mismatch says that a 14th character is
// not the check of the 13; the number is then kept whole, since it may be a
// local number whose last character tells bags apart. into is overwritten. A batch number is no donation
// number, whatever it looks like, and loses spaces alone.
func donation(into, raw []byte, batch bool) (number []byte, removed, mismatch bool) {
	into = into[:0]
	for len(raw) > 0 {
		size := 1
		if raw[0] >= utf8.RuneSelf {
			var r rune
			if r, size = utf8.DecodeRune(raw); unseen(r) {
				raw = raw[size:]
				continue
			}
		}
		if raw[0] > ' ' {
			into = append(into, raw[:size]...)
		}
		raw = raw[size:]
	}
	scanned := len(into) > 0 && into[0] == '='
	if scanned {
		into = into[1:]
	}
	if batch || len(into) < 13 || !standard(into[:13]) {
		return into, false, false
	}
	switch {
	case len(into) == 13:
		capitals(into)
	case len(into) == 14:
		if check(into[:13]) != upper(into[13]) {
			return into, false, true
		}
		into = into[:13]
		capitals(into)
		removed = true
	case len(into) == 15 && scanned:
		// Two flag characters end the bar code; they are no part of the number.
		into = into[:13]
		capitals(into)
		removed = true
	}
	return into, removed, false
}

// standard reports whether 13 characters have the standard form: a facility of
// five characters (the first a letter other than O, or a digit other than 0),
// two digits of the year, six of the sequence.
func standard(b []byte) bool {
	for i, c := range b {
		c = upper(c)
		digit := c >= '0' && c <= '9'
		letter := c >= 'A' && c <= 'Z'
		switch {
		case i == 0 && (c == '0' || c == 'O'):
			return false
		case i < 5 && !digit && !letter, i >= 5 && !digit:
			return false
		}
	}
	return true
}

func upper(c byte) byte {
	if 'a' <= c && c <= 'z' {
		return c - ('a' - 'A')
	}
	return c
}

func capitals(b []byte) {
	for i, c := range b {
		b[i] = upper(c)
	}
}

// check is the check character of ISO/IEC 7064 MOD 37-2.
func check(b []byte) byte {
	const characters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
	sum := 0
	for _, c := range b {
		c = upper(c)
		value := int(c - '0')
		if c >= 'A' {
			value = int(c-'A') + 10
		}
		sum = (sum + value) * 2 % 37
	}
	return characters[(38-sum)%37]
}
