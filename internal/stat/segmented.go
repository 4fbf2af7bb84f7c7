package stat

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Coefficient is one coefficient of a regression.
type Coefficient struct {
	Value float64
	// SE is the ordinary standard error; NeweyWest the one that allows for
	// autocorrelation and unequal variance.
	SE, NeweyWest float64
	// CI is the 95 % interval by NeweyWest and Student's t.
	CI Interval
}

// Regression is a least-squares fit.
type Regression struct {
	Coefficients []Coefficient
	Fitted       []float64
	// DurbinWatson is near 2 without autocorrelation of neighbours, near 0 with
	// a strong positive one (Durbin and Watson 1950).
	DurbinWatson float64
}

// Regress fits y = design·b by least squares, with Newey–West standard errors
// (Newey and West 1987, Econometrica 55:703): weights 1 − l/(lag+1), and the
// small-sample factor n/(n−k). Rows of design are points in order of time and
// evenly spaced. It refuses unequal lengths, NaN, no more rows than
// columns, and columns that depend on each other.
func Regress(y []float64, design [][]float64, lag int) (*Regression, error) {
	n := len(y)
	if n == 0 || len(design) != n {
		return nil, fmt.Errorf("regression: %d values and %d rows of design, wanted as many, at least one", n, len(design))
	}
	k := len(design[0])
	if n <= k {
		return nil, fmt.Errorf("regression: %d points for %d coefficients, wanted more points", n, k)
	}
	if lag < 0 || lag >= n {
		return nil, fmt.Errorf("regression: lag %d, wanted 0 to %d", lag, n-1)
	}
	x := mat.NewDense(n, k, nil)
	for i, row := range design {
		if len(row) != k {
			return nil, fmt.Errorf("regression: row %d has %d columns, wanted %d", i+1, len(row), k)
		}
		for _, v := range append([]float64{y[i]}, row...) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, fmt.Errorf("regression: point %d has no value", i+1)
			}
		}
		x.SetRow(i, row)
	}
	var qr mat.QR
	qr.Factorize(x)
	// Beyond this condition number fewer than four digits of a result hold.
	if !(qr.Cond() < 1e12) {
		return nil, fmt.Errorf("regression: columns of the design depend on each other")
	}
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, mat.NewVecDense(n, append([]float64(nil), y...))); err != nil {
		return nil, fmt.Errorf("regression: %w", err)
	}
	var xtx, bread mat.Dense
	xtx.Mul(x.T(), x)
	if err := bread.Inverse(&xtx); err != nil {
		return nil, fmt.Errorf("regression: %w", err)
	}
	r := &Regression{Coefficients: make([]Coefficient, k), Fitted: make([]float64, n)}
	e := make([]float64, n)
	var sse, turns float64
	for i := range n {
		r.Fitted[i] = mat.Dot(x.RowView(i), &b)
		e[i] = y[i] - r.Fitted[i]
		sse += e[i] * e[i]
		if i > 0 {
			turns += (e[i] - e[i-1]) * (e[i] - e[i-1])
		}
	}
	r.DurbinWatson = turns / sse
	robust := neweyWest(x, e, &bread, lag)
	free := float64(n - k)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: free}.Quantile(0.975)
	for j := range k {
		c := Coefficient{Value: b.AtVec(j), SE: math.Sqrt(sse / free * bread.At(j, j)), NeweyWest: math.Sqrt(max(0, robust.At(j, j)))}
		c.CI = Interval{c.Value - t*c.NeweyWest, c.Value + t*c.NeweyWest}
		r.Coefficients[j] = c
	}
	return r, nil
}

// neweyWest gives the covariance of the coefficients from the residuals e.
func neweyWest(x *mat.Dense, e []float64, bread *mat.Dense, lag int) *mat.Dense {
	n, k := x.Dims()
	meat := mat.NewDense(k, k, nil)
	for l := 0; l <= lag; l++ {
		weight := 1 - float64(l)/float64(lag+1)
		for t := l; t < n; t++ {
			for i := range k {
				for j := range k {
					add := x.At(t, i) * x.At(t-l, j)
					if l > 0 {
						add += x.At(t-l, i) * x.At(t, j)
					}
					meat.Set(i, j, meat.At(i, j)+weight*e[t]*e[t-l]*add)
				}
			}
		}
	}
	var half, full mat.Dense
	half.Mul(bread, meat)
	full.Mul(&half, bread)
	full.Scale(float64(n)/float64(n-k), &full)
	return &full
}

// Segmented is a series with a level and a slope before and after a change.
type Segmented struct {
	// Start is the level at the first point, Slope the change a point before
	// the break, Level the step at the first point after it, and SlopeChange
	// what is added to Slope from there on.
	Start, Slope, Level, SlopeChange Coefficient
	// Fitted is the model; Counterfactual goes on as before the break.
	Fitted, Counterfactual []float64
	DurbinWatson           float64
}

// least is the fewest points on a side to which a line and its error fit.
const least = 3

// Segment fits y = b0 + b1·t + b2·after + b3·(t−at)·after, with t from 0 and
// after from point at (0-based) on: the interrupted time series of Wagner 2002,
// J Clin Pharm Ther 27:299, in the coding of Linden 2015, Stata J 15:480. lag
// is that of Newey–West; NeweyWestLag gives a usual one.
//
// It takes the line before to have gone on without the change, and points to
// be evenly spaced; it knows no seasons and no control group. At least 8 points
// on each side are advised, 12 where seasons play (from memory, Wagner 2002);
// it refuses fewer than 3. Shares from few episodes scatter unequally, which
// the Newey–West errors allow for only roughly.
func Segment(y []float64, at, lag int) (*Segmented, error) {
	t := make([]float64, len(y))
	for i := range t {
		t[i] = float64(i)
	}
	return SegmentAt(t, y, float64(at), lag)
}

// SegmentAt is Segment of a series with gaps: y is seen at times t, in order, and
// the change comes at the time at. Newey–West then takes neighbours for one step
// apart that may be more.
func SegmentAt(t, y []float64, at float64, lag int) (*Segmented, error) {
	if len(t) != len(y) {
		return nil, fmt.Errorf("segmented regression: %d times for %d points", len(t), len(y))
	}
	before := 0
	for before < len(t) && t[before] < at {
		before++
	}
	if before < least || len(y)-before < least {
		return nil, fmt.Errorf("segmented regression: %d points before and %d after the change, wanted at least %d on each side", before, len(y)-before, least)
	}
	design := make([][]float64, len(y))
	for i := range y {
		design[i] = []float64{1, t[i], 0, 0}
		if i >= before {
			design[i][2], design[i][3] = 1, t[i]-at
		}
	}
	r, err := Regress(y, design, lag)
	if err != nil {
		return nil, err
	}
	s := &Segmented{Start: r.Coefficients[0], Slope: r.Coefficients[1], Level: r.Coefficients[2], SlopeChange: r.Coefficients[3],
		Fitted: r.Fitted, Counterfactual: make([]float64, len(y)), DurbinWatson: r.DurbinWatson}
	for i := range y {
		s.Counterfactual[i] = s.Start.Value + s.Slope.Value*t[i]
	}
	return s, nil
}

// NeweyWestLag gives the usual lag for n points, ⌊4(n/100)^(2/9)⌋ (Newey and
// West 1994, Rev Econ Stud 61:631).
func NeweyWestLag(n int) int {
	return int(4 * math.Pow(float64(n)/100, 2.0/9))
}
