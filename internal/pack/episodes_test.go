package pack

import (
	"html/template"
	"testing"

	"pgregory.net/rapid"
)

// TestSheetEscapesAsTemplatesDo: data on a sheet is what Go's own templates would make
// of it, with numbers held together with their per cent sign.
func TestSheetEscapesAsTemplatesDo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.StringOf(rapid.SampledFrom([]rune("<>&\"'\x00 %%  59a\u00a0é→"))).Draw(t, "data")
		var s sheet
		s.text(data)
		if want := held(template.HTMLEscapeString(data)); string(s) != want {
			t.Fatalf("%q is written %q, wanted %q", data, s, want)
		}
	})
}
