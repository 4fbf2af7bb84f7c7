package inspect

import (
	"bytes"
	"slices"
	"strings"

	"thawline/internal/normalise"
	"thawline/internal/site"
)

// What a profile keeps of one column, at most: an export may be gigantic.
const (
	mostTexts  = 2000
	mostShapes = 200
)

// profile gathers what the cells of one column of a feed hold, over all its files.
type profile struct {
	name         string
	rows, filled int64
	// texts counts the cells by text, until there are too many; then it is nil.
	texts map[string]int64
	// shapes counts them by shape, and knows the family of times of each.
	shapes map[string]*shape
	others int64 // cells of shapes that came after the last place

	// numbers have a sign of a limit, a comma or a point; words stand for a number
	// that there is not. marks counts what they show of the mark of decimals.
	numbers, limits, commas, points, words int64
	marks                                  [normalise.Grouped + 1]int64
	firstMark                              [normalise.Grouped + 1]Place
	// standard are donation numbers, checked those with a check character, holds
	// those whose check character is right.
	standard, checked, holds int64
	// iso are times of ISO 8601; families hold the evidence of all others, by
	// skeleton, epoch counts numbers that may be one of epochs.
	iso, isoTimed, isoOffset int64
	families                 map[string]*evidence
	epoch                    [3]int64
	// sameAsName counts cells that repeat the header.
	sameAsName int64
	// inUnits is what unitTexts found, once asked.
	inUnits *float64
}

type shape struct {
	count    int64
	family   *evidence
	unpadded bool
	known    bool
}

func newProfile(name string) *profile {
	return &profile{name: name, texts: map[string]int64{}, shapes: map[string]*shape{}, families: map[string]*evidence{}}
}

// add notes one cell, trimmed. latest is the last day that a time can be of.
func (p *profile) add(cell []byte, at Place, latest int, scratch []byte) []byte {
	p.rows++
	if len(cell) == 0 {
		return scratch
	}
	p.filled++
	if p.texts != nil {
		if n, known := p.texts[string(cell)]; known || len(p.texts) < mostTexts {
			p.texts[string(cell)] = n + 1
		} else {
			p.texts = nil
		}
	}
	scratch = shapeOf(scratch[:0], cell)
	s := p.shapes[string(scratch)]
	if s == nil {
		if len(p.shapes) < mostShapes {
			s = &shape{}
			p.shapes[string(scratch)] = s
		} else {
			p.others++
			s = &shape{} // Its times count all the same.
		}
	}
	s.count++
	p.number(cell, at)
	p.time(s, cell, at, latest)
	if form, checked, holds := normalise.Donation(cell); form {
		p.standard++
		if checked {
			p.checked++
		}
		if holds {
			p.holds++
		}
	}
	if strings.EqualFold(string(cell), p.name) {
		p.sameAsName++
	}
	return scratch
}

func (p *profile) number(cell []byte, at Place) {
	v, limit, ok := normalise.Number(cell)
	mark := normalise.MarkOf(cell)
	if p.marks[mark] == 0 {
		p.firstMark[mark] = at
	}
	p.marks[mark]++
	comma := bytes.IndexByte(cell, ',') >= 0
	switch {
	case ok:
	case mark == normalise.NoMark:
		if normalise.NoValueWord(cell) {
			p.words++
		}
		return
	default:
		// A number all the same, once the feed states the mark.
		p.numbers++
		switch {
		case comma:
			p.commas++
		case mark != normalise.Grouped:
			p.points++
		}
		return
	}
	p.numbers++
	if limit {
		p.limits++
	}
	switch {
	case comma:
		p.commas++
	case bytes.IndexByte(cell, '.') >= 0:
		p.points++
	}
	for i, e := range epochs {
		whole := strings.IndexByte(string(cell), '.')
		if whole < 0 {
			whole = len(cell)
		}
		if whole == e.digits && v >= e.low && v <= e.high {
			p.epoch[i]++
		}
	}
}

func (p *profile) time(s *shape, cell []byte, at Place, latest int) {
	if w, ok := normalise.ReadISO(cell); ok {
		p.iso++
		if w.HasTime {
			p.isoTimed++
		}
		if w.HasOffset {
			p.isoOffset++
		}
		return
	}
	if !s.known {
		s.known = true
		if f, unpadded := familyOf(string(cell)); f != nil {
			if p.families[f.skeleton] == nil {
				p.families[f.skeleton] = &evidence{family: f}
			}
			s.family, s.unpadded = p.families[f.skeleton], unpadded
		}
	}
	if s.family != nil {
		s.family.add(cell, at, s.unpadded, latest)
	}
}

// distinct is how many texts there are; -1 where there are too many to tell.
func (p *profile) distinct() int {
	if p.texts == nil {
		return -1
	}
	return len(p.texts)
}

// share is n as a part of the filled cells.
func (p *profile) share(n int64) float64 {
	if p.filled == 0 {
		return 0
	}
	return float64(n) / float64(p.filled)
}

// timed counts the cells that are times, those of digits alone left out: they
// may be numbers of persons.
func (p *profile) timed() (n int64) {
	n = p.iso
	for _, e := range p.families {
		if !e.family.digits {
			n += e.read()
		}
	}
	return n
}

// digitTimes counts the cells of digits alone that read as times.
func (p *profile) digitTimes() (n int64) {
	for _, e := range p.families {
		if e.family.digits {
			n += e.read()
		}
	}
	return n
}

// commonShape gives the commonest shape and the share of cells that have it.
func (p *profile) commonShape() (string, float64) {
	best, most := "", int64(0)
	for s, one := range p.shapes {
		if one.count > most || one.count == most && s < best {
			best, most = s, one.count
		}
	}
	return best, p.share(most)
}

// unitTexts is the share of filled cells that are units of some test or measure.
func (p *profile) unitTexts() float64 {
	if p.inUnits == nil {
		share := p.countUnits()
		p.inUnits = &share
	}
	return *p.inUnits
}

func (p *profile) countUnits() float64 {
	if p.texts == nil {
		return 0
	}
	n, plainly := int64(0), false
	for text, count := range p.texts {
		if isUnit(text) {
			n += count
			// One letter is a unit (g, s, m) and any other code.
			plainly = plainly || len(text) > 1 || text == "%"
		}
	}
	if !plainly {
		return 0
	}
	return p.share(n)
}

// isUnit reports whether a text is a unit that site.yaml knows, 1 left out: it is
// a number like any other.
func isUnit(text string) bool {
	if text == "1" {
		return false
	}
	return slices.ContainsFunc(analytes, func(a string) bool { _, known := site.UnitOf(a, text); return known })
}
