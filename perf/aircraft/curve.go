package aircraft

import (
	"math"

	"bowroll/perf/violation"
)

// A Piece is one cubic of a [Curve]: for From <= x <= To the value is
// C[0] + C[1] d + C[2] d^2 + C[3] d^3 with d = x - From.
type Piece struct {
	From, To float64
	C        [4]float64
}

// A Curve is the monotone cubic through given points (Fritsch and Carlson,
// Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17, 1980, with
// the weighted harmonic mean of Fritsch and Butland, 1984, and the three-point
// end slopes of Moler, Numerical Computing with MATLAB, ch. 3: the same numbers
// as SciPy's PchipInterpolator). Outside the points the end value is held.
//
// The zero Curve is empty; [Curve.Fit] fills it and may be called again, which
// reuses its memory.
type Curve struct {
	pieces      []Piece
	slopes      []float64
	first, last float64 // end values, held outside
	perStep     float64 // 1/spacing when the points are evenly spaced, else 0
}

// Fit makes c pass through the points (x[i], y[i]), each y multiplied by scale.
// The error is a [violation.List] on x and y: at least two points, of equal
// number, all finite, x strictly increasing.
func (c *Curve) Fit(x, y []float64, scale float64) error {
	if err := checkPoints(x, y); err != nil {
		return err
	}
	n := len(x)
	if cap(c.pieces) < n {
		c.pieces = make([]Piece, 0, n)
		c.slopes = make([]float64, 0, n)
	}
	c.pieces = c.pieces[:n-1]
	c.slopes = c.slopes[:n]
	c.first, c.last = y[0]*scale, y[n-1]*scale
	c.setSlopes(x, y)

	step := (x[n-1] - x[0]) / float64(n-1)
	even := true
	for i := range c.pieces {
		h := x[i+1] - x[i]
		secant := (y[i+1] - y[i]) / h
		d0, d1 := c.slopes[i], c.slopes[i+1]
		c.pieces[i] = Piece{From: x[i], To: x[i+1], C: [4]float64{
			scale * y[i],
			scale * d0,
			scale * (float64(3*secant) - float64(2*d0) - d1) / h,
			scale * (d0 + d1 - 2*secant) / (h * h),
		}}
		even = even && math.Abs(h-step) <= 1e-9*step
	}
	c.perStep = 0
	if even {
		c.perStep = 1 / step
	}
	return nil
}

// setSlopes fills in the derivative at each point.
func (c *Curve) setSlopes(x, y []float64) {
	n := len(x)
	if n == 2 {
		c.slopes[0] = (y[1] - y[0]) / (x[1] - x[0])
		c.slopes[1] = c.slopes[0]
		return
	}
	for i := 1; i < n-1; i++ {
		before, after := x[i]-x[i-1], x[i+1]-x[i]
		rising, next := (y[i]-y[i-1])/before, (y[i+1]-y[i])/after
		c.slopes[i] = 0
		if rising*next > 0 {
			w1, w2 := 2*after+before, after+2*before
			c.slopes[i] = (w1 + w2) / (w1/rising + w2/next)
		}
	}
	c.slopes[0] = endSlope(x[1]-x[0], x[2]-x[1], (y[1]-y[0])/(x[1]-x[0]), (y[2]-y[1])/(x[2]-x[1]))
	c.slopes[n-1] = endSlope(x[n-1]-x[n-2], x[n-2]-x[n-3],
		(y[n-1]-y[n-2])/(x[n-1]-x[n-2]), (y[n-2]-y[n-3])/(x[n-2]-x[n-3]))
}

// endSlope is the one-sided three-point slope at an end, kept from overshooting.
func endSlope(h0, h1, secant0, secant1 float64) float64 {
	slope := (float64((float64(2*h0)+h1)*secant0) - float64(h0*secant1)) / (h0 + h1)
	switch {
	case slope*secant0 <= 0:
		return 0
	case secant0*secant1 <= 0 && math.Abs(slope) > 3*math.Abs(secant0):
		return 3 * secant0
	}
	return slope
}

// At is the value at x.
func (c *Curve) At(x float64) float64 {
	n := len(c.pieces)
	if n == 0 || x <= c.pieces[0].From {
		return c.first
	}
	if x >= c.pieces[n-1].To {
		return c.last
	}
	p := &c.pieces[c.index(x)]
	d := x - p.From
	return p.C[0] + float64(d*(p.C[1]+float64(d*(p.C[2]+float64(d*p.C[3])))))
}

// index finds the piece that holds an x inside the points.
func (c *Curve) index(x float64) int {
	last := len(c.pieces) - 1
	if c.perStep > 0 {
		i := min(int((x-c.pieces[0].From)*c.perStep), last)
		// Rounding may land one piece aside.
		if x < c.pieces[i].From {
			i--
		} else if x > c.pieces[i].To {
			i++
		}
		return i
	}
	low, high := 0, last
	for low < high {
		mid := (low + high) / 2
		if x > c.pieces[mid].To {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low
}

// Pieces are the cubics in order. The slice belongs to the curve: it is valid
// until the next Fit and must not be written to.
func (c *Curve) Pieces() []Piece { return c.pieces }

// Ends are the values held below the first point and above the last.
func (c *Curve) Ends() (first, last float64) { return c.first, c.last }

func checkPoints(x, y []float64) error {
	if soundPoints(x, y) {
		return nil
	}
	var faults violation.List
	if len(x) != len(y) {
		faults.Add("thrust_n", violation.Number(float64(len(y)))+" values",
			"as many as airspeed_mps has ("+violation.Number(float64(len(x)))+")", "")
		return faults.Err()
	}
	if len(x) < 2 {
		faults.Add("airspeed_mps", violation.Number(float64(len(x)))+" values", "at least 2", "")
		return faults.Err()
	}
	for i := range x {
		finite := faults.Finite(violation.Index("airspeed_mps", i), x[i], "")
		faults.Finite(violation.Index("thrust_n", i), y[i], "")
		if finite && i > 0 && !(x[i] > x[i-1]) {
			faults.Add(violation.Index("airspeed_mps", i), violation.Number(x[i]),
				"above the value before it ("+violation.Number(x[i-1])+")", "sort the table by airspeed")
		}
	}
	return faults.Err()
}

// soundPoints is checkPoints without words, for the many calls that pass.
func soundPoints(x, y []float64) bool {
	if len(x) != len(y) || len(x) < 2 {
		return false
	}
	for i := range x {
		if math.IsNaN(x[i]-x[i]) || math.IsNaN(y[i]-y[i]) || (i > 0 && !(x[i] > x[i-1])) {
			return false
		}
	}
	return true
}
