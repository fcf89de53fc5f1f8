package takeoff

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
)

// flight is the aircraft in the air over the deck or the water: airspeed, climb
// angle, height of the wheels and distance over the ground.
type flight struct {
	r       *Runner
	segment *booster.Segment
	clLimit float64
	nzMax   float64 // +Inf: whatever clLimit gives
	screenM float64 // height that ends the flight
	offBow  bool    // the flight ends at its lowest point or in the water instead
	fall    *fall   // a unit that falls is followed instead of the aircraft
	lowestM float64 // least height so far, on the way to the screen
	turns   bool    // what is looked for is where the path turns upward, not the end
}

// reached rises through zero where the flight ends.
func (f *flight) reached(y *flightState) float64 {
	if f.turns {
		return y[flightGamma]
	}
	if f.fall != nil {
		return -y[fallZ]
	}
	if f.offBow {
		return max(y[flightGamma], -y[flightH])
	}
	return max(y[flightH]-f.screenM, -sinkLimitM-y[flightH])
}

type flightState [4]float64

const (
	flightV = iota
	flightGamma
	flightH
	flightX
)

// The flare of model and screen: the load factor that turns the path towards
// the steady climb within about a second.
const (
	nzLeast       = 0.5
	nzScreen      = 1.15
	pathTimeS     = 1.0
	sineClimbMost = 0.5
	sinkLimitM    = 5.0
)

// rate is the equations of motion of section "air distance":
//
//	m dV/dt = T(V) + Fx - D - W sin(gamma)   m V dgamma/dt = L + Fz - W cos(gamma)
//	dh/dt = V sin(gamma)                     dx/dt = V cos(gamma) - headwind
func (f *flight) rate(t float64, y *flightState, dy *flightState) {
	if f.fall != nil {
		f.fall.rate(y, dy)
		return
	}
	r := f.r
	seg := f.segment
	tau := t - seg.StartS
	mass := r.grossMass + seg.MassKG + float64(tau*(seg.MassKGPS+float64(tau*seg.MassKGPS2)))
	forward, upward := seg.ForwardN+float64(tau*seg.ForwardNPS), seg.UpwardN+float64(tau*seg.UpwardNPS)
	weight := float64(mass * air.GravityMPS2)
	v := y[flightV]
	sine, cosine := elementary.Sincos(y[flightGamma])
	square := float64(v * v)
	qS := float64(r.halfRhoS * square)
	phi := aircraft.GroundEffect(r.wing.height+y[flightH], r.wing.span)
	zeroLift := float64(qS*r.wing.zeroLift) + float64(0.5*r.setting.Air.DensityKgM3*square*r.fittedDrag)
	induced := float64(qS * phi * r.wing.induced)
	thrust := r.thrust.At(v)

	level := weight / qS
	drag := zeroLift + float64(induced*level*level)
	climb := elementary.Asin(clamp((thrust+forward-drag)/weight, -sineClimbMost, sineClimbMost))
	nz := cosine + float64((climb-y[flightGamma])*v)/(air.GravityMPS2*pathTimeS)
	nz = max(nzLeast, min(nz, f.nzMax))
	cl := min(f.clLimit, float64(nz*level))
	drag = zeroLift + float64(induced*cl*cl)

	dy[flightV] = (thrust+forward-drag)/mass - float64(air.GravityMPS2*sine)
	dy[flightGamma] = (float64(qS*cl) + upward - float64(weight*cosine)) / (mass * v)
	dy[flightH] = float64(v * sine)
	dy[flightX] = float64(v*cosine) - r.headwind
}

func clamp(v, low, high float64) float64 { return max(low, min(v, high)) }

// The embedded pair of orders 5 and 4 of Dormand and Prince, A family of
// embedded Runge-Kutta formulae, J. Comp. Appl. Math. 6, 1980.
const (
	a21 = 1. / 5
	a31 = 3. / 40
	a32 = 9. / 40
	a41 = 44. / 45
	a42 = -56. / 15
	a43 = 32. / 9
	a51 = 19372. / 6561
	a52 = -25360. / 2187
	a53 = 64448. / 6561
	a54 = -212. / 729
	a61 = 9017. / 3168
	a62 = -355. / 33
	a63 = 46732. / 5247
	a64 = 49. / 176
	a65 = -5103. / 18656
	b1  = 35. / 384
	b3  = 500. / 1113
	b4  = 125. / 192
	b5  = -2187. / 6784
	b6  = 11. / 84
	e1  = 71. / 57600
	e3  = -71. / 16695
	e4  = 71. / 1920
	e5  = -17253. / 339200
	e6  = 22. / 525
	e7  = -1. / 40

	flightError = 1e-9
)

// stepFactor is by how much the next step should be longer: 0.9 relative^(-1/5),
// rounded down to one of a few factors. It needs no power, and as a step length is
// then a product of constants, rounding errors cannot grow by way of it where the
// path has a kink.
func stepFactor(relative float64) float64 {
	for _, factor := range [...]float64{5, 3, 2, 1.5, 1.2, 1, 0.85, 0.7, 0.5, 0.35} {
		ratio := 0.9 / factor
		square := float64(ratio * ratio)
		if relative <= float64(float64(square*square)*ratio) {
			return factor
		}
	}
	return 0.2
}

// try takes one step of h from y with slope k1, giving the new state, its slope
// and the error relative to what is allowed.
func (f *flight) try(t, h float64, y, k1, out, k7 *flightState) (relative float64) {
	var k2, k3, k4, k5, k6, z flightState
	for i := range z {
		z[i] = y[i] + float64(h*float64(a21*k1[i]))
	}
	f.rate(t+h/5, &z, &k2)
	for i := range z {
		z[i] = y[i] + float64(h*(float64(a31*k1[i])+float64(a32*k2[i])))
	}
	f.rate(t+float64(3*h)/10, &z, &k3)
	for i := range z {
		z[i] = y[i] + float64(h*(float64(a41*k1[i])+float64(a42*k2[i])+float64(a43*k3[i])))
	}
	f.rate(t+float64(4*h)/5, &z, &k4)
	for i := range z {
		z[i] = y[i] + float64(h*(float64(a51*k1[i])+float64(a52*k2[i])+float64(a53*k3[i])+float64(a54*k4[i])))
	}
	f.rate(t+float64(8*h)/9, &z, &k5)
	for i := range z {
		z[i] = y[i] + float64(h*(float64(a61*k1[i])+float64(a62*k2[i])+float64(a63*k3[i])+float64(a64*k4[i])+float64(a65*k5[i])))
	}
	f.rate(t+h, &z, &k6)
	for i := range z {
		out[i] = y[i] + float64(h*(float64(b1*k1[i])+float64(b3*k3[i])+float64(b4*k4[i])+float64(b5*k5[i])+float64(b6*k6[i])))
	}
	f.rate(t+h, out, k7)
	for i, scale := range [4]float64{1, 0.01, 0.1, 1} {
		miss := h * (float64(e1*k1[i]) + float64(e3*k3[i]) + float64(e4*k4[i]) + float64(e5*k5[i]) + float64(e6*k6[i]) + float64(e7*k7[i]))
		relative = max(relative, math.Abs(miss)/(flightError*(scale+math.Abs(y[i]))))
	}
	return relative
}

// fly integrates to where reached is zero, or gives up at the limit.
func (f *flight) fly(s *booster.Schedule, t, limitS float64, y *flightState) (endS float64, ok bool) {
	segments := s.Segments()
	index := s.Index(t)
	f.segment = &segments[index]
	var k1, k7, out flightState
	f.rate(t, y, &k1)
	h := 0.05
	for range maxSteps {
		corner := math.Inf(1)
		if index+1 < len(segments) {
			corner = segments[index+1].StartS
		}
		last := min(corner, limitS)
		atEnd := t+h >= last
		if atEnd {
			h = last - t
		}
		relative := f.try(t, h, y, &k1, &out, &k7)
		if relative > 1 && h > 1e-9 {
			h *= min(stepFactor(relative), 0.7)
			continue
		}
		if f.screenM > 0 && y[flightGamma] < 0 && out[flightGamma] > 0 {
			// The lowest point is inside the step: it may be lower than both ends.
			low := *y
			f.turns = true
			turn, _ := f.cross(t, h, &low, &k1)
			f.turns = false
			if f.reached(&low) >= 0 {
				return f.cross(t, turn-t, y, &k1)
			}
			f.lowestM = min(f.lowestM, low[flightH])
		}
		if f.reached(&out) >= 0 {
			return f.cross(t, h, y, &k1)
		}
		f.lowestM = min(f.lowestM, out[flightH])
		*y, k1 = out, k7
		t += h
		if atEnd {
			t = last
			if t >= limitS {
				return t, false
			}
			index++
			for index+1 < len(segments) && segments[index+1].StartS <= t {
				index++
			}
			f.segment = &segments[index]
			f.rate(t, y, &k1)
			h = max(h, 0.02)
			continue
		}
		h *= stepFactor(relative)
	}
	return t, false
}

// cross finds the step that ends where reached is zero, stepping anew from y
// each time so that the crossing has the method's full order.
func (f *flight) cross(t, h float64, y, k1 *flightState) (float64, bool) {
	var out, k7 flightState
	low, high := 0.0, h
	atLow := f.reached(y)
	f.try(t, h, y, k1, &out, &k7)
	atHigh := f.reached(&out)
	side := 0
	x := h
	for range 100 {
		// Regula falsi, Illinois variant.
		x = high - float64(atHigh*(high-low))/(atHigh-atLow)
		if !(x > low && x < high) {
			x = low + float64(0.5*(high-low))
		}
		f.try(t, x, y, k1, &out, &k7)
		at := f.reached(&out)
		if math.Abs(at) <= 1e-13 || high-low <= 1e-15*(1+t) {
			break
		}
		if at >= 0 {
			high, atHigh = x, at
			if side == 1 {
				atLow /= 2
			}
			side = 1
		} else {
			low, atLow = x, at
			if side == -1 {
				atHigh /= 2
			}
			side = -1
		}
	}
	*y = out
	return t + x, true
}
