package normalise

import (
	"bytes"
	"strings"

	"thawline/internal/contract"
)

// clots says of which tests a result beyond the analyser's range, without a
// number, is that of blood that does not clot: those whose value is the time that
// clotting took. Of fibrinogen or platelets it says the opposite.
var clots = func() []bool {
	of := make([]bool, len(contract.Tests))
	for _, name := range []string{"inr", "pt_s", "pt_ratio", "aptt_s", "aptt_ratio", "viscoelastic"} {
		of[testIndex(name)] = true
	}
	return of
}()

// beyondWords are ways to say so in English (common practice), in lower case and
// without signs around them.
var beyondWords = map[string]bool{
	"off scale": true, "off-scale": true, "offscale": true, "above scale": true, "out of range high": true, "over range": true, "overrange": true, "over-range": true,
	"above range": true, "above measuring range": true, "above the measuring range": true, "above measurable range": true, "above reportable range": true,
	"above analytical range": true, "above analyser range": true, "above analyzer range": true, "beyond range": true, "beyond measuring range": true,
	"exceeds range": true, "exceeds measuring range": true, "exceeds measurable range": true, "greater than measuring range": true, "greater than measurable range": true,
	"too high to measure": true, "too long to measure": true, "above upper limit": true, "above detection limit": true, "max": true, "maximum": true,
}

// beyond reports whether a result that holds no number says that it lies beyond
// what the analyser can measure: by a sign alone, by the sign of its bound where
// nothing else is written, or in words.
func (b *Batch) beyond(test int, text []byte) bool {
	if !clots[test] {
		return false
	}
	if len(text) == 0 {
		bound := b.text(labsAt.bound)
		i, known := b.code(labsAt.bound, bound)
		return known && (i == 1 || i == 3) // > and >=
	}
	if rest := bytes.TrimLeft(text, "<>=≥≤ "); len(rest) == 0 {
		return bytes.ContainsAny(text, ">≥") && !bytes.ContainsAny(text, "<≤")
	}
	if _, known := b.code(labsAt.noValue, text); known {
		return false // The site says what it means.
	}
	b.scratch = fold(b.scratch[:0], text)
	return beyondWords[strings.Trim(string(b.scratch), " *.!-()[]<>=")]
}
