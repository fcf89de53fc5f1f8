package aircraft

import (
	"math"

	"bowroll/perf/violation"
)

// A Correction is what observed runs taught about a type: factors on its data.
// It enters through the data alone and leaves every equation as it is.
type Correction struct {
	Thrust          float64 // on the thrust of the engines at every airspeed
	RollingFriction float64 // on the rolling friction of whatever the type rolls on
	Drag            float64 // on CD0 of every flap setting
}

// Uncorrected changes nothing.
var Uncorrected = Correction{Thrust: 1, RollingFriction: 1, Drag: 1}

// Validate returns a [violation.List] with every factor that is not believed.
func (c Correction) Validate() error {
	var faults violation.List
	faults.Range("thrust_factor", c.Thrust, 0.5, 1.5, "1 changes nothing")
	faults.Range("rolling_friction_factor", c.RollingFriction, 0.1, 5, "1 changes nothing")
	faults.Range("drag_factor", c.Drag, 0.3, 3, "1 changes nothing")
	return faults.Err()
}

// Apply returns the type with thrust and drag corrected. Friction belongs to the
// surface: who knows the surface multiplies it by RollingFriction.
//
// A propeller's thrust is multiplied at every airspeed where both its power and
// the area of its disc are: with T' = f T, P' = f P and A' = f A the induced
// velocity w of momentum theory stays as it is, and eta P' = T' (Va + w) holds.
func (c Correction) Apply(t *Type) *Type {
	corrected := *t
	corrected.Flaps = append([]Flap(nil), t.Flaps...)
	for i := range corrected.Flaps {
		corrected.Flaps[i].CD0 *= c.Drag
	}
	corrected.Thrust.ThrustN = append([]float64(nil), t.Thrust.ThrustN...)
	for i := range corrected.Thrust.ThrustN {
		corrected.Thrust.ThrustN[i] *= c.Thrust
	}
	if t.Propeller != nil {
		p := *t.Propeller
		p.ShaftPowerW *= c.Thrust
		p.DiameterM *= math.Sqrt(c.Thrust)
		corrected.Propeller = &p
	}
	return &corrected
}

// Times is both corrections, one after the other.
func (c Correction) Times(other Correction) Correction {
	return Correction{
		Thrust: c.Thrust * other.Thrust, RollingFriction: c.RollingFriction * other.RollingFriction, Drag: c.Drag * other.Drag,
	}
}
