package chart

import (
	"slices"
	"strings"
	"unicode"
)

// longest is how many letters of a row's name a chart shows: the table has all.
const longest = 60

// shorten cuts a text to at most n letters' width and says so by an ellipsis. A
// letter of the wide scripts counts for two. Signs that turn the direction of
// writing, which would turn the ellipsis and the numbers beside it, are left out.
func shorten(text string, n int) string {
	var out []rune
	wide := 0
	for _, r := range text {
		if unicode.Is(unicode.Bidi_Control, r) {
			continue
		}
		wide++
		if r >= 0x1100 {
			wide++
		}
		if wide > n {
			return string(out[:max(0, len(out)-1)]) + "…"
		}
		out = append(out, r)
	}
	return string(out)
}

// halved breaks a name of more letters than one line has at the space nearest to its
// middle, so that no short word stands alone on the second.
func halved(text string, line int) string {
	letters := []rune(text)
	if len(letters) <= line {
		return text
	}
	at := -1
	for i, r := range letters {
		if r == ' ' && (at < 0 || abs(2*i+1-len(letters)) <= abs(2*at+1-len(letters))) {
			at = i
		}
	}
	if at < 0 {
		return text
	}
	letters[at] = '\n'
	return string(letters)
}

// namesUnder has every bar of so many bear its name, on two lines where it is long.
func namesUnder(option map[string]any, bars int) {
	room := (width - left - right) / bars
	letters := room * 3 / 4 / 8 * 2
	if room < 40 {
		letters = 4
	}
	for _, list := range option["xAxis"].([]any) {
		names, _ := list.(map[string]any)["data"].([]any)
		for i, name := range names {
			if text, ok := name.(string); ok {
				names[i] = halved(shorten(text, letters), room/7)
			}
		}
	}
	axis(option, "xAxis", map[string]any{"axisLabel": map[string]any{"color": ink, "fontSize": fontSize, "interval": 0, "overflow": "break", "width": wordRoom(option, room)}})
}

// wideNames says that a name is wider than the room under one of so many bars. A letter
// takes 7 units.
func wideNames(names []string, bars int) bool {
	return slices.ContainsFunc(names, func(name string) bool { return 7*len([]rune(name))*bars > width-left-right })
}

func abs(n int) int { return max(n, -n) }

// wordRoom is how wide the name under a bar may be: less than the bar's room, for
// the library's widths are estimates, but all of it where a word would break.
func wordRoom(option map[string]any, room int) int {
	letters := 0
	for _, list := range option["xAxis"].([]any) {
		names, _ := list.(map[string]any)["data"].([]any)
		for _, name := range names {
			text, _ := name.(string)
			for _, word := range strings.Fields(text) {
				letters = max(letters, len([]rune(word)))
			}
		}
	}
	return max(room*3/4, min(room, 8*letters))
}
