// Package aircraft describes an aircraft type as the take-off model needs it:
// geometry, lift and drag by flap setting, engine thrust, mass and wind limits,
// control power and the stations that take booster units.
//
// Everything is SI; angles in fields that end in Deg are degrees.
package aircraft

import "math"

// A Type is one aircraft type. It is plain data: fill it in, call
// [Type.Validate] once, and share it; nothing in perf writes to it.
type Type struct {
	ID   string
	Name string

	WingAreaM2  float64
	SpanM       float64
	Oswald      float64 // span efficiency e, in K = 1/(pi e AR)
	WingHeightM float64 // of the wing above the ground, on the wheels
	Flaps       []Flap

	Thrust    ThrustTable // used when Propeller is nil
	Propeller *Propeller

	LiftoffFactor float64 // lift-off speed over stalling speed, 1.05 to 1.25
	RotationTimeS float64

	EmptyMassKG float64 // least mass that is believed
	MaxMassKG   float64 // greatest take-off mass without units

	CrosswindLimitMPS *float64 // nil: not stated
	TailwindLimitMPS  *float64

	// YawCoefficient is Cn_max, the greatest yawing moment coefficient that
	// rudder and fin give: the moment is S b q Cn_max. Nil: not stated, and no
	// control speed can be given.
	YawCoefficient *float64

	Stations []Station
}

// A Flap is one setting of the high-lift system, gear down.
type Flap struct {
	Name   string
	CLMax  float64
	CLRoll float64 // in the ground attitude
	CD0    float64 // gear and flap included
}

// A Station is a place that takes one booster unit.
type Station struct {
	ID            string
	LateralM      float64 // y, positive to starboard; 0 on the centre line
	LongitudinalM float64 // x, positive forward of the centre of mass
	Line          string  // name of the firing line that serves it
	Mirror        string  // ID of the station opposite; empty on the centre line
}

// Side tells where the station is: +1 starboard, -1 port, 0 centre line.
func (s Station) Side() int {
	switch {
	case s.LateralM > 0:
		return 1
	case s.LateralM < 0:
		return -1
	}
	return 0
}

// AspectRatio is b^2/S.
func (t *Type) AspectRatio() float64 { return t.SpanM * t.SpanM / t.WingAreaM2 }

// InducedFactor is K = 1/(pi e AR), of the drag due to lift K CL^2.
func (t *Type) InducedFactor() float64 { return 1 / (math.Pi * t.Oswald * t.AspectRatio()) }

// GroundEffect is phi = x/(1+x) with x = (16 h/b)^2, by which the ground
// reduces the drag due to lift of a wing of span b at height h (Anderson,
// Introduction to Flight, after McCormick).
func GroundEffect(heightM, spanM float64) float64 {
	x := 16 * heightM / spanM
	x = float64(x * x)
	return x / (1 + x)
}

// FlapIndex finds a flap setting by name, or -1.
func (t *Type) FlapIndex(name string) int {
	for i := range t.Flaps {
		if t.Flaps[i].Name == name {
			return i
		}
	}
	return -1
}

// StationIndex finds a station by ID, or -1.
func (t *Type) StationIndex(id string) int {
	for i := range t.Stations {
		if t.Stations[i].ID == id {
			return i
		}
	}
	return -1
}
