package normalise

import (
	"slices"
	"sort"

	"thawline/internal/contract"
)

// labColumns are the places of the columns of labs.
type labColumns struct {
	test, value, bound, valueRaw, unitRaw, noValue, pointOfCare, status, derivedFrom int
}

var labsAt = func() (c labColumns) {
	for i, column := range contract.Labs.SourceColumns() {
		switch column.Name {
		case "test":
			c.test = i
		case "value":
			c.value = i
		case "bound":
			c.bound = i
		case "value_raw":
			c.valueRaw = i
		case "unit_raw":
			c.unitRaw = i
		case "no_value":
			c.noValue = i
		case "point_of_care":
			c.pointOfCare = i
		case "status":
			c.status = i
		case "derived_from":
			c.derivedFrom = i
		}
	}
	return c
}()

// normal is a mean normal time and the local day, in microseconds as if it were
// UTC, from which it holds.
type normal struct {
	from  int64
	value float64
}

// ratios tells which test follows from which.
var ratios = map[string]string{"pt_s": "pt_ratio", "aptt_s": "aptt_ratio"}

func testIndex(name string) int {
	for i, t := range contract.Tests {
		if t == name {
			return i
		}
	}
	return -1
}

func (m *Mapper) prepareLabs() {
	m.add = (*Batch).lab
	m.prepareQuantities(contract.Tests)
	m.order = [][2]int{{m.timeIndex("collected_at"), m.timeIndex("resulted_at")}}
	m.normals = map[string][]normal{}
	for test, periods := range m.site.MeanNormal {
		for _, p := range periods {
			m.normals[test] = append(m.normals[test], normal{p.From.UnixMicro(), p.Value})
		}
	}
}

// lab reads one result.
func (b *Batch) lab() {
	m := b.m
	c := &labsAt
	rawTest := b.text(c.test)
	test := -1
	if len(rawTest) > 0 {
		i, known := b.meant(c.test, rawTest, b.text(c.unitRaw))
		if !known {
			b.leave(rawTest, b.text(c.unitRaw))
			return
		}
		if test = i; test >= 0 {
			b.setWord(c.test, i)
		}
	} else {
		b.missing("test")
	}
	b.common()
	const collected, resulted = 0, 1
	b.readTimes(collected)
	b.notBefore(resulted, collected, reasonBefore, "collected_at")
	b.putTimes()
	if raw := b.text(c.pointOfCare); len(raw) > 0 {
		if i, known := b.code(c.pointOfCare, raw); known {
			b.setInt(c.pointOfCare, int64(i))
		} else {
			b.unknownWord(c.pointOfCare, raw)
			b.setInt(c.pointOfCare, 0)
		}
	} else {
		b.setInt(c.pointOfCare, 0)
	}
	const preliminary, final = 0, 1
	b.setWord(c.status, final) // Of an empty status.
	if raw := b.text(c.status); len(raw) > 0 {
		if i, known := b.code(c.status, raw); known {
			b.setWord(c.status, i)
		} else {
			b.unknownWord(c.status, raw)
			b.setWord(c.status, preliminary) // An unknown word ranks so.
		}
	}
	if test >= 0 {
		b.result(test)
	}
	if !b.done() {
		return
	}
	b.keepLab(test)
	if name := m.quantities[test].name; name == "pt_s" || name == "aptt_s" {
		b.ratio(name)
	}
}

func (b *Batch) keepLab(test int) {
	if b.byTest[test] == nil {
		b.byTest[test] = newFrame(b.m.schema, b.m.columns, b.m.words)
		b.frames["labs-"+contract.Tests[test]] = b.byTest[test]
	}
	b.byTest[test].append(&b.row)
}

// result fills the value, or says why there is none.
func (b *Batch) result(test int) {
	c := &labsAt
	r := b.written()
	told := -1
	if raw := b.text(c.noValue); len(raw) > 0 {
		told = b.wordOf(c.noValue, raw)
	}
	// As decimal does, without a call: nearly every row is a plain number.
	bound, text := -1, r.text
	if len(text) > 0 && (text[0] < '0' || text[0] > '9') {
		bound, text = boundOf(text)
	}
	v, f, isNumber := parseNumber(text, b.m.mark)
	if f != formPlain {
		isNumber = b.marked(r.column, f)
	}
	var why *reason
	var part string
	if !isNumber && len(r.text) > 0 {
		v, bound, isNumber, why, part = b.oddNumber(r, text, bound)
	}
	switch {
	case why != nil:
		b.doubt("value", r.text, "dropped", why, part)
	case isNumber:
		if bound < 0 {
			if raw := b.text(c.bound); len(raw) > 0 {
				if i, known := b.code(c.bound, raw); known {
					bound = i
				} else {
					b.unknownWord(c.bound, raw)
				}
			}
		}
		if v, ok := b.convert(test, v, r); ok {
			b.row.putReal(c.value, v)
			if bound >= 0 {
				b.setWord(c.bound, bound)
			}
		}
	case told < 0 && len(r.text) > 0:
		told = b.wordOf(c.noValue, r.text)
	case told < 0:
		told = noValueOther
	}
	if !isNumber && told == noValueOther && len(b.text(c.noValue)) == 0 && b.beyond(test, r.text) {
		told = noValueUnclottable
	}
	if told == noValueCancelled {
		const cancelled = 3
		b.setWord(c.status, cancelled)
	}
	if !isNumber && why == nil {
		b.setWord(c.noValue, told)
	}
}

// oddNumber looks at a result that is not a plain number: it may have a flag
// behind it, or be written so that it cannot be read, for which why is the reason.
// Where the site's own map gives its text a meaning, it is no number.
func (b *Batch) oddNumber(r reading, text []byte, sign int) (v float64, bound int, ok bool, why *reason, part string) {
	if _, mapped := b.code(labsAt.noValue, r.text); mapped {
		return 0, sign, false, nil, ""
	}
	if bare, both, there := flagged(text, sign); there {
		if v, ok = b.decimal(r.column, bare); ok {
			return v, both, true, nil, ""
		}
		text = bare
	}
	why, part = b.whyNot(r.column, text)
	return 0, sign, false, why, part
}

// ratio adds the ratio that follows from a time. Each row of a time gives one,
// of the same status and with the same want of a number: so the last word on
// the time is also the last word on its ratio.
func (b *Batch) ratio(from string) {
	c := &labsAt
	test := testIndex(ratios[from])
	value, known := b.row.slots[c.value], b.row.has(c.value)
	b.row.take(c.value)
	if known {
		if mean, known := b.m.meanNormal(from, b.times[0].lo, &b.hint); !known {
			b.count(countNoNormal)
		} else {
			q := &b.m.quantities[test]
			v := round9(value.f / mean)
			if v >= q.low && v <= q.high {
				b.row.putReal(c.value, v)
			} else {
				b.tell([]fault{{"value", b.row.slots[c.valueRaw].text, "suspect", reasonRatioLimits.text([]string{q.limits, q.name})}})
			}
		}
	}
	if !b.row.has(c.value) {
		b.row.take(c.bound)
	}
	b.setWord(c.test, test)
	b.row.take(c.valueRaw)
	b.row.take(c.unitRaw)
	b.row.putInt(c.derivedFrom, int64(slices.Index(b.m.columns[c.derivedFrom].Codes, from)))
	b.keepLab(test)
	b.count(countDerived)
}

// meanNormal gives the mean normal time that holds on the local day of an
// instant in microseconds.
func (m *Mapper) meanNormal(test string, at int64, hint *int) (float64, bool) {
	periods := m.normals[test]
	if len(periods) == 0 {
		return 0, false
	}
	unix := floorDiv(at, second)
	local := at + m.clock.offsetAt(unix, hint)*second
	i := sort.Search(len(periods), func(i int) bool { return periods[i].from > local }) - 1
	if i < 0 {
		return 0, false
	}
	return periods[i].value, true
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
