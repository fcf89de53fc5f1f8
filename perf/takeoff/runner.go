package takeoff

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
)

// A Runner is a [Setting] made ready to be run many times: with the units fired
// now or later, with one of them failed, stopped from here or there. Its methods
// that compute runs allocate nothing and are safe for concurrent use; Reset is
// not.
type Runner struct {
	setting Setting
	flap    aircraft.Flap

	thrust     aircraft.Curve
	cells      []cell // airspeed cells at full throttle
	closed     []cell // the same with the throttles closed
	wing       wing
	cosine     float64 // of the slope
	sine       float64
	liftoffSq  float64 // square of the lift-off airspeed per kilogram
	carriedKG  float64 // loaded mass of the units
	headwind   float64
	rollingMu  float64
	brakingMu  float64
	rotationS  float64
	grossMass  float64
	normalG    float64 // g0 cos(theta)
	slopeG     float64 // g0 sin(theta)
	rollDragK  float64 // D/(Va |Va|) in the ground attitude
	rollLiftK  float64 // L/Va^2 in the ground attitude
	halfRhoS   float64
	fittedDrag float64 // drag area of all fitted units
}

// wing is what lift and drag in the air need.
type wing struct {
	induced, height, span, zeroLift, clMax float64
}

// A cell is a range of airspeed in which engine thrust is one cubic of
// (u - base) and the sign of the airspeed does not change.
type cell struct {
	low, high  float64
	base       float64
	c          [4]float64
	fromBehind bool // the air comes from behind: drag pushes and there is no lift
}

// NewRunner prepares a setting. The error, if any, is a violation.List.
func NewRunner(s Setting) (*Runner, error) {
	r := new(Runner)
	return r, r.Reset(s)
}

// Reset prepares r for another setting, reusing its memory.
func (r *Runner) Reset(s Setting) error {
	if err := s.Validate(); err != nil {
		return err
	}
	if err := s.Aircraft.ThrustInto(&r.thrust, s.Air.DensityKgM3); err != nil {
		return err
	}
	t := s.Aircraft
	r.setting = s
	r.flap = t.Flaps[s.Flap]
	r.wing = wing{
		induced: t.InducedFactor(), height: t.WingHeightM, span: t.SpanM,
		zeroLift: r.flap.CD0, clMax: r.flap.CLMax,
	}
	r.fittedDrag, r.carriedKG = 0, 0
	for i := range s.Units {
		r.fittedDrag += s.Units[i].Type.DragAreaM2
		r.carriedKG += s.Units[i].Type.LoadedMassKG
	}
	r.halfRhoS = 0.5 * s.Air.DensityKgM3 * t.WingAreaM2
	r.rollLiftK = r.halfRhoS * r.flap.CLRoll
	phi := aircraft.GroundEffect(t.WingHeightM, t.SpanM)
	r.rollDragK = float64(r.halfRhoS*(r.flap.CD0+float64(phi*r.wing.induced*r.flap.CLRoll*r.flap.CLRoll))) +
		float64(0.5*s.Air.DensityKgM3*r.fittedDrag)

	length := math.Sqrt(1 + float64(s.Surface.Upslope*s.Surface.Upslope))
	r.cosine, r.sine = 1/length, s.Surface.Upslope/length
	r.normalG, r.slopeG = air.GravityMPS2*r.cosine, air.GravityMPS2*r.sine
	r.liftoffSq = t.LiftoffFactor * t.LiftoffFactor * r.normalG / (r.halfRhoS * r.flap.CLMax)
	r.headwind = s.HeadwindMPS
	r.rollingMu, r.brakingMu = s.Surface.RollingFriction, s.Surface.BrakingFriction
	r.rotationS = t.RotationTimeS
	r.grossMass = s.GrossMassKG
	r.setCells()
	return nil
}

// SetHeadwind changes the credited wind along the axis and nothing else, which
// needs no preparing anew.
func (r *Runner) SetHeadwind(headwindMPS float64) {
	r.headwind = headwindMPS
	r.setting.HeadwindMPS = headwindMPS
}

// SetGrossMass changes the mass without units and nothing else.
func (r *Runner) SetGrossMass(massKG float64) {
	r.grossMass = massKG
	r.setting.GrossMassKG = massKG
}

// SetRollingFriction changes the rolling friction and nothing else.
func (r *Runner) SetRollingFriction(mu float64) {
	r.rollingMu = mu
	r.setting.Surface.RollingFriction = mu
}

// Setting is what the runner was prepared for.
func (r *Runner) Setting() Setting { return r.setting }

// setCells cuts the airspeeds at every point of the thrust curve and at zero.
func (r *Runner) setCells() {
	first, last := r.thrust.Ends()
	pieces := r.thrust.Pieces()
	r.cells = r.cells[:0]
	low := math.Inf(-1)
	add := func(high, base float64, c [4]float64) {
		for _, end := range [2]float64{0, high} {
			if end <= low || end > high {
				continue
			}
			r.cells = append(r.cells, cell{low: low, high: end, base: base, c: c, fromBehind: end <= 0})
			low = end
		}
	}
	add(pieces[0].From, pieces[0].From, [4]float64{first})
	for _, p := range pieces {
		add(p.To, p.From, p.C)
	}
	add(math.Inf(1), pieces[len(pieces)-1].To, [4]float64{last})
	if r.closed == nil {
		r.closed = []cell{
			{low: math.Inf(-1), high: 0, fromBehind: true},
			{low: 0, high: math.Inf(1)},
		}
	}
}

// LiftoffAirspeedMPS is VLOF for a total mass in kilograms, units included:
// f sqrt(2 m g0 cos(theta)/(rho S CLmax)).
func (r *Runner) LiftoffAirspeedMPS(massKG float64) float64 {
	return math.Sqrt(r.liftoffSq * massKG)
}

// ThrustN is the engine thrust at a true airspeed, full throttle.
func (r *Runner) ThrustN(airspeedMPS float64) float64 { return r.thrust.At(airspeedMPS) }

// MassKG is the total mass at a time of a schedule.
func (r *Runner) MassKG(s *booster.Schedule, timeS float64) float64 {
	return r.grossMass + s.MassKG(timeS)
}
