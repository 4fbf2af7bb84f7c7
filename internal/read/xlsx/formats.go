package xlsx

import (
	"archive/zip"

	"github.com/xuri/nfp"
)

// shows says which parts of a time a number format shows; none is a number.
type shows uint8

const (
	showsDate shows = 1 << iota
	showsTime
)

// builtIn are the number formats of time that have a number and no code: ECMA-376
// part 1, 18.8.30 (14 to 22 and 45 to 47 everywhere, the others in East Asian and
// Thai programs). 46 is a duration, which is a number here.
var builtIn = map[int]shows{
	14: showsDate, 15: showsDate, 16: showsDate, 17: showsDate,
	18: showsTime, 19: showsTime, 20: showsTime, 21: showsTime, 22: showsDate | showsTime,
	27: showsDate, 28: showsDate, 29: showsDate, 30: showsDate, 31: showsDate,
	32: showsTime, 33: showsTime, 34: showsDate, 35: showsDate, 36: showsDate,
	45: showsTime, 47: showsTime,
	50: showsDate, 51: showsDate, 52: showsDate, 53: showsDate, 54: showsDate,
	55: showsDate, 56: showsDate, 57: showsDate, 58: showsDate,
	71: showsDate, 72: showsDate, 73: showsDate, 74: showsDate, 75: showsTime, 76: showsTime,
	77: showsDate | showsTime, 78: showsTime, 80: showsTime, 81: showsDate,
}

// styles is the part of that name (18.8), as far as it says what is a date.
type styles struct {
	Formats []struct {
		ID   int    `xml:"numFmtId,attr"`
		Code string `xml:"formatCode,attr"`
	} `xml:"numFmts>numFmt"`
	Cells []struct {
		Format int `xml:"numFmtId,attr"`
	} `xml:"cellXfs>xf"`
}

// formats returns, for each style of a cell, what its number format shows.
func (p *pack) formats(part *zip.File) ([]shows, error) {
	var s styles
	if err := p.decode(part, &s); err != nil {
		return nil, err
	}
	own := map[int]shows{}
	for _, f := range s.Formats {
		own[f.ID] = shown(f.Code)
	}
	all := make([]shows, len(s.Cells))
	for i, c := range s.Cells {
		what, stated := own[c.Format]
		if !stated {
			what = builtIn[c.Format]
		}
		all[i] = what
	}
	return all, nil
}

// shown reads a number format (18.8.31). Its first section decides: the others
// are for numbers below zero, zero and text. A format of elapsed time ([h]:mm)
// is a duration, and so a number.
func shown(code string) shows {
	const longest = 255 // as spreadsheet programs have it
	if len(code) > 4*longest {
		return 0
	}
	parser := nfp.NumberFormatParser()
	sections := parser.Parse(code)
	if len(sections) == 0 {
		return 0
	}
	var what shows
	tokens := sections[0].Items
	for i, token := range tokens {
		switch token.TType {
		case nfp.TokenTypeElapsedDateTimes:
			return 0
		case nfp.TokenTypeDateTimes:
			what |= letters(token.TValue, minutes(tokens, i))
		}
	}
	return what
}

// letters says what a group of letters shows; m is a month or minutes.
func letters(group string, minutes bool) shows {
	if group == "" {
		return 0
	}
	switch group[0] | 0x20 {
	case 'h', 's', 'a': // a of AM/PM; a of days of the week stands with a date
		return showsTime
	case 'm':
		if minutes {
			return showsTime
		}
	}
	return showsDate
}

// minutes reports whether a group of m at i is of minutes: right after hours or
// right before seconds (18.8.31).
func minutes(tokens []nfp.Token, i int) bool {
	isTime := func(j, step int) byte {
		for ; j >= 0 && j < len(tokens); j += step {
			if tokens[j].TType == nfp.TokenTypeDateTimes && tokens[j].TValue != "" {
				return tokens[j].TValue[0] | 0x20
			}
		}
		return 0
	}
	return isTime(i-1, -1) == 'h' || isTime(i+1, 1) == 's'
}
