package inspect

import "unicode"

// longestShape is how much of a cell a shape tells; what is longer is text.
const longestShape = 40

// shapeOf appends the shape of a cell to into: 9 for a digit, A and a for a
// letter, a space for any space, signs as they are. A shape tells no cell.
func shapeOf(into []byte, cell []byte) []byte {
	n := 0
	for _, r := range string(cell) {
		if n++; n > longestShape {
			return append(into, "…"...)
		}
		switch {
		case unicode.IsDigit(r):
			into = append(into, '9')
		case unicode.IsUpper(r):
			into = append(into, 'A')
		case unicode.IsLetter(r):
			into = append(into, 'a')
		case unicode.IsSpace(r):
			into = append(into, ' ')
		case unicode.IsPrint(r):
			into = append(into, string(r)...)
		default:
			into = append(into, '?')
		}
	}
	return into
}

// digitRun is the length of the longest run of digits.
func digitRun(text string) int {
	run, longest := 0, 0
	for _, r := range text {
		if unicode.IsDigit(r) {
			run++
			longest = max(longest, run)
		} else {
			run = 0
		}
	}
	return longest
}
