package pack

import (
	"strings"
	"unicode"

	"thawline/internal/figure"
)

type answer struct {
	Sentences []string
	Headlines []headline
	// Note stands under the headlines.
	Note    string
	Changes []string
	// Unseen says of which charts a month is hidden, so that no signal could be seen.
	Unseen []string
	// Absent says of each feed that the site does not have what is not known for that.
	Absent []string
}

// headline is one of the figures that head the page.
type headline struct {
	// Key is that of the label, whatever the language; packs of older programs have none.
	Key    string `json:"key,omitempty"`
	Figure string `json:"figure"`
	Label  string `json:"label"`
	Note   string `json:"note"`
}

// Said says that the figure is a word, which may be a long one in another language.
func (h headline) Said() bool { return strings.IndexFunc(h.Figure, unicode.IsLetter) >= 0 }

// headline is one of them, by the key of its label.
func (in *input) headline(key, figure, note string) headline {
	return headline{Key: key, Figure: figure, Label: in.w(key), Note: note}
}

// answer says the page's first words, from figures that are disclosed already.
func (fs *figures) answer() *answer {
	in, a := fs.in, &answer{}
	get := func(figureName, value string) string {
		if f := fs.done[figureName]; f != nil {
			return in.words(f, value)
		}
		return "–"
	}
	// A tile says of a number that it is hidden, where a sentence says "some".
	tile := func(figureName, value string) string {
		if f := fs.done[figureName]; f != nil {
			return in.shown(f, value)
		}
		return "–"
	}
	// The share of a figure, what stands under it, of what it is one where the tile's
	// name does not say that, and its interval.
	share := func(name, ofWhat string) (text, note, interval string) {
		f := fs.done[name]
		if f == nil {
			return "–", in.w("note_none"), ""
		}
		n, okN := f.Whole("n")
		all, okAll := f.Whole("of")
		if f.Values["n"].Hidden || f.Values["of"].Hidden {
			return in.w("hidden"), in.w("note_hidden"), ""
		}
		if !okN || !okAll || all == 0 {
			return "–", in.w("note_none"), ""
		}
		of, interval := in.w("of", in.words(f, "n"), in.words(f, "of")), f.Interval(in.format)
		if ofWhat != "" {
			of = in.w(ofWhat, of)
		}
		return in.format.Percent(float64(n) / float64(all)), in.w("note_interval", of, interval), interval
	}
	episodes, given := get("marks_by_month", "of"), get("use_by_month", "n")
	began, begun := "answer_use", in.headline("head_episodes", tile("marks_by_month", "of"), in.w("head_judged", get("marks_by_month", "n")))
	if f := fs.done["marks_by_month"]; f != nil && f.Values["of"].Hidden && !f.Values["given"].Hidden {
		// All episodes would tell how few of them are without plasma.
		episodes, began = get("marks_by_month", "given"), "answer_use_given"
		begun.Figure, begun.Note = tile("marks_by_month", "given"), in.w("head_given_judged", get("marks_by_month", "n"))
	}
	unused := episodes == "0" && given == "0"
	if unused {
		// Where issues of each month were read, none of plasma was among them.
		says := "no_plasma"
		if in.anyUnread() {
			says = "no_plasma_unread"
		}
		a.Sentences = append(a.Sentences, in.w(says, in.period()))
	} else {
		a.Sentences = append(a.Sentences, in.w(began, in.period(), episodes, given))
	}
	good, goodNote, interval := share("appropriate_by_month", "")
	if in.lacking[figure.Band] && interval == "" && !unused {
		// Nought of them, shown or hidden, is no share.
		good, goodNote = "–", in.w("not_known")
	}
	if interval == "" {
		f := fs.done["appropriate_by_month"]
		switch {
		case unused || f == nil:
		case in.lacking[figure.Band]:
			a.Sentences = append(a.Sentences, in.w("no_share_band"))
		case f.Values["n"].Hidden || f.Values["of"].Hidden:
			a.Sentences = append(a.Sentences, in.w("no_share_hidden"))
		default:
			a.Sentences = append(a.Sentences, in.w("no_share"))
		}
	} else {
		signal := ""
		for _, one := range fs.signals {
			if one.figure == "appropriate_by_month" {
				signal = one.words
			}
		}
		changed := in.w("answer_no_change")
		switch {
		case signal != "":
			changed = in.w("answer_signal", signal)
		case fs.early["appropriate_by_month"] != "":
			changed = fs.early["appropriate_by_month"]
		}
		text := in.w("answer_share", good, get("appropriate_by_month", "of"), interval, changed)
		a.Sentences = append(a.Sentences, text)
		if a.Note = fs.otherwise(fs.done["appropriate_by_month"]); in.lacking[figure.Bleeding] {
			a.Note = in.w("share_too_high") + " " + a.Note
		}
	}
	lost, lostNote, _ := share("waste_by_month", "of_used")
	marked := in.w("marked_both")
	if in.lacking[figure.Bleeding] {
		marked = in.w("marked_unsupported")
	}
	if f := fs.done["avoidable"]; get("use_by_month", "of") == "0" {
		// Nothing was thawed, issued or thrown away: there is no waste to speak of.
	} else if f != nil && f.Values["cost"].Value != nil {
		a.Sentences = append(a.Sentences, in.w("answer_waste_cost", get("avoidable", "discarded"), get("avoidable", "given"), marked, strings.TrimSpace(in.currency+"\u00a0"+in.words(f, "cost"))))
	} else {
		a.Sentences = append(a.Sentences, in.w("answer_waste", get("avoidable", "discarded"), get("avoidable", "given"), marked))
	}
	undetermined, undeterminedNote, _ := share("completeness", "of_given")
	dosed := in.w("note_none")
	if f := fs.done["dose_distribution"]; f != nil && f.Values["of"].Value != int64(0) {
		dosed = in.w("head_in", get("dose_distribution", "of"), in.span())
	}
	used := in.headline("head_given", tile("use_by_month", "n"), in.w("head_bags", get("use_by_month", "of")))
	if unused && in.unreadPeriod() {
		begun, used = in.headline("head_episodes", "–", in.w("note_unread")), in.headline("head_given", "–", in.w("note_unread"))
	}
	a.Headlines = []headline{
		begun,
		used,
		in.headline("head_appropriate", good, goodNote),
		in.headline("head_undetermined", undetermined, undeterminedNote),
		in.headline("head_dose", tile("dose_distribution", "median"), dosed),
		in.headline("head_lost", lost, lostNote),
	}
	for _, one := range fs.signals {
		a.Changes = append(a.Changes, one.says)
	}
	a.Unseen, a.Absent = fs.unseen, in.absent()
	return a
}

// otherwise says what the share appropriate would be without inferred bleeding,
// and with the undetermined episodes on either side.
func (fs *figures) otherwise(f *figure.Figure) string {
	in := fs.in
	share := func(name string) string { return in.format.Cell(figure.Column{Kind: figure.Share}, f.Values[name]) }
	text := in.w("answer_share_recorded", share("recorded_share"))
	if f.Values["recorded_share"].Hidden {
		text = in.w("answer_share_recorded_hidden")
	}
	switch undetermined := f.Values["not_known"]; {
	case undetermined.Hidden:
		text += " " + in.w("answer_share_few")
	case undetermined.Value != int64(0):
		text += " " + in.w("answer_share_range", share("if_none"), share("if_all"))
	}
	return text
}
