package published

import (
	"errors"
	"math"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/quantity"
)

// Where the wheel load may become negative, constant thrust gives an
// acceleration A - B Va^2 and with it a closed form for every phase of constant
// boost. The model clips the wheel load at zero; values published without the
// clip are held against this.

// phase is the acceleration A - B Va^2 from a time on.
type phase struct{ start, a, b float64 }

// unclipped gives time and distance to lift-off speed of an example, wheel load
// not clipped.
func unclipped(e example) (time, distance float64, err error) {
	s, t, flap := e.setting, e.setting.Aircraft, e.setting.Aircraft.Flaps[0]
	weight := float64(s.GrossMassKG * air.GravityMPS2)
	mass := weight / e.gravity
	drag := flap.CD0 + float64(aircraft.GroundEffect(t.WingHeightM, t.SpanM)*t.InducedFactor()*flap.CLRoll*flap.CLRoll)
	a := (t.Thrust.ThrustN[0] - float64(s.Surface.RollingFriction*weight)) / mass
	b := s.Air.DensityKgM3 * t.WingAreaM2 * (drag - float64(s.Surface.RollingFriction*flap.CLRoll)) / (2 * mass)
	liftoff := t.LiftoffFactor * math.Sqrt(2*weight/(s.Air.DensityKgM3*t.WingAreaM2*flap.CLMax))
	phases := []phase{{0, a, b}}
	if e.lit {
		var force float64
		for _, u := range s.Units {
			if !u.Dud {
				force += u.Type.ThrustN(0, u.GrainTemperatureC)
			}
		}
		burn := burnTime(s.Units)
		phases = append(phases, phase{e.firstThrust, a + force/mass, b}, phase{e.firstThrust + burn, a, b})
	}
	if b <= 0 {
		return 0, 0, errors.New("drag must outweigh the friction that lift takes away")
	}
	return runPhases(phases, s.HeadwindMPS, liftoff)
}

func burnTime(units []booster.Unit) float64 {
	return units[0].Type.BurnTimeS(units[0].GrainTemperatureC)
}

// runPhases follows dV/dt = A - B v^2 from the headwind to the lift-off airspeed,
// phase by phase: with c = sqrt(A/B), v = c tanh(atanh(v0/c) + sqrt(A B) t), and
// the way through the air is ln((A - B v0^2)/(A - B v^2))/(2 B).
func runPhases(phases []phase, headwind, liftoff float64) (time, distance float64, err error) {
	v := headwind
	for i, p := range phases {
		c, rate := math.Sqrt(p.a/p.b), math.Sqrt(p.a*p.b)
		if v >= c {
			return 0, 0, errors.New("it does not accelerate")
		}
		last := math.Inf(1)
		if i+1 < len(phases) {
			last = phases[i+1].start - p.start
		}
		from := atanh(v / c)
		end, next := last, c*tanh(from+float64(rate*last))
		if next >= liftoff && liftoff < c {
			end, next = (atanh(liftoff/c)-from)/rate, liftoff
		}
		if math.IsInf(end, 1) {
			return 0, 0, errors.New("it does not reach lift-off speed")
		}
		through := elementary.Log((p.a-float64(p.b*v*v))/(p.a-float64(p.b*next*next))) / (2 * p.b)
		time, distance, v = time+end, distance+through-float64(headwind*end), next
		if v == liftoff {
			return time, distance, nil
		}
	}
	return 0, 0, errors.New("it does not reach lift-off speed")
}

func tanh(x float64) float64 { return 1 - 2/(elementary.Exp(2*x)+1) }

func atanh(x float64) float64 { return float64(0.5 * elementary.Log1p(2*x/(1-x))) }

func computeUnclipped(method string, in *inputs) (result, error) {
	e := readExample(in)
	if len(in.faults) > 0 {
		return result{}, nil
	}
	time, distance, err := unclipped(e)
	if method == "unclipped-time" {
		return result{time, quantity.Time}, err
	}
	return result{distance, quantity.Length}, err
}
