package stat

import "math"

// GChart gives the chart of counts between rare events (units or episodes that
// passed without one): centre the mean ḡ, upper limit ḡ + 3√(ḡ(ḡ+1)), lower
// limit 0 (Benneyan 2001, Health Care Manag Sci 4:305). The centre and limits
// are from the first k counts; k ≤ 0 means all.
//
// A high point is good news. Counts are skewed, so that about 63 in 100 lie
// under the mean: judge runs against GQuantile(ḡ, 0.5), not the centre. The
// limit of three standard deviations differs a lot from the exact
// GQuantile(ḡ, 0.99865).
func GChart(between []float64, k int) Chart {
	first := between[:baseline(k, len(between))]
	var sum float64
	for _, g := range first {
		sum += g
	}
	mean := sum / float64(len(first))
	c := Chart{Centre: mean, Points: make([]Point, len(between))}
	for i, g := range between {
		c.Points[i] = Point{g, 0, mean + 3*math.Sqrt(mean*(mean+1))}
	}
	return c
}

// GQuantile gives the count between events that is not passed with probability
// q, under the geometric distribution of that mean, smoothed between whole
// numbers: ln(1−q)/ln(1−p) − 1 with p = 1/(mean+1). Not under 0.
func GQuantile(mean, q float64) float64 {
	return max(0, math.Log(1-q)/math.Log(1-1/(mean+1))-1)
}

// tPower makes waiting times of a constant hazard nearly normal (Nelson 1994,
// J Qual Technol 26:239, from memory).
const tPower = 3.6

// TChart gives the chart of times between rare events: y = t^(1/3.6) on an
// XmR chart, turned back by the power 3.6, a lower limit under 0 being 0
// (Nelson 1994, from memory). Centre and limits are from the first k times;
// k ≤ 0 means all. Times are in any unit and not negative; of several events on
// one day only the first gap tells something, zeros pull the limits down.
func TChart(times []float64, k int) Chart {
	y := make([]float64, len(times))
	for i, t := range times {
		y[i] = math.Pow(t, 1/tPower)
	}
	c := XmR(y, k)
	for i := range c.Points {
		c.Points[i] = Point{times[i], math.Pow(max(0, c.Points[i].Lower), tPower), math.Pow(c.Points[i].Upper, tPower)}
	}
	c.Centre = math.Pow(c.Centre, tPower)
	return c
}
