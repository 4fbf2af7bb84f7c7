package invent

import (
	"cmp"
	"slices"
	"strconv"
	"time"
)

// resultsByMonth sorts the planted results into the exports that tell them.
func (x *exporter) resultsByMonth() [][]*result {
	by := make([][]*result, x.options.Months)
	for _, r := range x.results {
		month := x.monthOf(r.collected)
		if r.later {
			month = min(month+1, x.options.Months-1)
		}
		by[month] = append(by[month], r)
	}
	for _, rows := range by {
		slices.SortStableFunc(rows, func(a, b *result) int {
			return cmp.Or(a.collected.Compare(b.collected), cmp.Compare(a.patient, b.patient), a.resulted.Compare(b.resulted))
		})
	}
	return by
}

// laboratory writes the results of a month: the planted ones, in their place
// among those of patients without plasma, which are made row by row.
func (x *exporter) laboratory(month int, planted []*result) error {
	s, err := x.open("results", month, ',', "LabNo|HospNo|Test|Result|Units|Near|Taken|Reported|State")
	if err != nil {
		return err
	}
	from, to := x.months[month].UTC(), x.months[month+1].UTC()
	total := x.options.Labs/int64(x.options.Months) + 1
	if month == x.options.Months-1 {
		total = x.options.Labs - total*int64(month)
	}
	serial, prefix := int64(10_000_000), x.months[month].Format("0601")
	var digits []byte
	// The number lies in memory that the next one takes.
	number := func() []byte {
		serial++
		digits = strconv.AppendInt(append(digits[:0], prefix...), serial, 10)
		return digits
	}
	next := 0
	write := func(until time.Time) {
		for ; next < len(planted) && (until.IsZero() || planted[next].collected.Before(until)); next++ {
			r := planted[next]
			near := "0"
			if r.poc || x.options.Careless && x.random.Float64() < 0.15 {
				near = "1"
			}
			s.row(string(number()), r.patient, r.test, r.value, r.unit, near, x.dateAlone(x.stamp(r.collected)), x.resultTold(r.resulted), r.status)
		}
	}
	b := &bulk{exporter: x, size: x.pool()}
	step := float64(to.Sub(from)) / float64(max(total, 1))
	for i := range total {
		at := from.Add(time.Duration(float64(i) * step)).Truncate(time.Minute)
		write(at)
		b.line = append(b.line[:0], number()...)
		s.out.Write(b.row(at))
	}
	write(time.Time{})
	if x.damaged(month) {
		day := from.AddDate(0, 0, 12).Format(time.DateOnly)
		who := patientNumber(poolStart)
		s.row(string(number()), "", "INR", "2.1", "", "0", day+"T08:10:00Z", day+"T09:00:00Z", "F")
		s.row(string(number()), who, "INR", "1.3", "", "0", "the day before", "", "F")
		s.row(string(number()), who, "INR", "88", "", "0", day+"T11:10:00Z", day+"T12:00:00Z", "F")
		s.row(string(number()), who, "FIBC", "2.4", "furlong", "0", day+"T11:10:00Z", day+"T12:00:00Z", "F")
		s.row(string(number()), who, "INR", "haemolysed", "", "0", day+"T15:10:00Z", day+"T15:40:00Z", "F")
		s.row(string(number()), who, "HGB", "9.4\nrepeat sample sent", "g/dL", "0", day+"T16:10:00Z", day+"T16:40:00Z", "F")
	}
	return s.close()
}

// stamp writes a time with its offset, as the laboratory does.
func (w *world) stamp(t time.Time) string {
	return t.In(w.zone).Format("2006-01-02T15:04:05-07:00")
}

// bulk makes rows of patients without plasma. It takes no memory a row.
type bulk struct {
	*exporter
	size int
	line []byte
	// hour is the hour for which front and offset were made: "2026-03-01T10:" and
	// "+00:00".
	hour          time.Time
	front, offset string
}

// row finishes the line that holds its number, with the line break.
func (b *bulk) row(at time.Time) []byte {
	who := (poolStart+b.exporter.random.IntN(b.size))*7919 + 1234567
	line := append(b.line, ',', 'T')
	line = digits(line, who%10_000_000, 7)
	draw := b.exporter.random.IntN(1 << 30)
	value := draw >> 7 % 1000
	switch kind := draw & 127; {
	case kind < 22:
		line = decimal(append(line, ",INR,"...), 9+value%9)
		line = append(line, ",,0,"...)
	case kind < 34:
		line = decimal(append(line, ",PTS,"...), 108+value%40)
		line = append(line, ",s,0,"...)
	case kind < 42:
		line = decimal(append(line, ",APTTR,"...), 8+value%6)
		line = append(line, ",,0,"...)
	case kind < 50:
		line = strconv.AppendInt(append(line, ",FIBC,"...), int64(170+value%330), 10)
		line = append(line, ",mg/dL,0,"...)
	case kind < 80:
		line = decimal(append(line, ",HGB,"...), 70+value%90)
		line = append(line, ",g/dL,0,"...)
	case kind < 84:
		line = decimal(append(line, ",HGB,"...), 70+value%90)
		line = append(line, ",g/dL,1,"...)
	case kind < 100:
		line = strconv.AppendInt(append(line, ",PLTC,"...), int64(40+value%420), 10)
		line = append(line, ",10*9/L,0,"...)
	case kind < 114:
		line = strconv.AppendInt(append(line, ",CREA,"...), int64(45+value%300), 10)
		line = append(line, ",umol/L,0,"...)
	default:
		line = strconv.AppendInt(append(line, ",NA,"...), int64(128+value%18), 10)
		line = append(line, ",mmol/L,0,"...)
	}
	line = append(b.time(line, at), ',')
	line = append(b.time(line, at.Add(minutes(25+value%50))), ",F\n"...)
	b.line = line
	return line
}

// time appends t with its offset. Most calls fall into the hour of the last.
func (b *bulk) time(line []byte, t time.Time) []byte {
	if hour := t.Truncate(time.Hour); !hour.Equal(b.hour) {
		local := t.In(b.zone)
		if _, offset := local.Zone(); offset%3600 != 0 {
			// The local hour begins within this one.
			return append(line, b.stamp(t)...)
		}
		b.hour, b.front, b.offset = hour, local.Format("2006-01-02T15:"), local.Format("-07:00")
	}
	line = digits(append(line, b.front...), t.Minute(), 2)
	line = digits(append(line, ':'), t.Second(), 2)
	return append(line, b.offset...)
}

// digits appends n with leading zeros.
func digits(line []byte, n, width int) []byte {
	for range width {
		line = append(line, '0')
	}
	for i := len(line) - 1; n > 0; i-- {
		line[i] = byte('0' + n%10)
		n /= 10
	}
	return line
}

// decimal appends n tenths.
func decimal(line []byte, n int) []byte {
	line = strconv.AppendInt(line, int64(n/10), 10)
	return append(line, '.', byte('0'+n%10))
}
