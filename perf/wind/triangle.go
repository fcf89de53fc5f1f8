package wind

import (
	"math"

	"bowroll/perf/elementary"
)

// A Vector is a wind: where it comes from and how fast.
type Vector struct {
	FromDeg  float64 // clockwise from true north, or from the ship's head where said
	SpeedMPS float64
}

// A Ship is how a ship moves and where her launch axis points.
type Ship struct {
	CourseDeg     float64 // degrees true
	SpeedMPS      float64
	AxisOffsetDeg float64 // launch axis from the ship's head, positive to starboard
}

// AxisDeg gives the heading of the launch axis, degrees true.
func (s Ship) AxisDeg() float64 { return circle(s.CourseDeg + s.AxisOffsetDeg) }

// OverDeck is the wind that a deck feels, and its parts along and across the
// launch axis.
type OverDeck struct {
	SpeedMPS        float64
	RelativeFromDeg float64 // clockwise from the ship's head; 0 for no wind
	HeadwindMPS     float64 // along the launch axis, positive from ahead
	CrosswindMPS    float64 // across the launch axis, positive from starboard

	NaturalHeadwindMPS float64 // the natural wind's part of HeadwindMPS
	ShipHeadwindMPS    float64 // the ship's own part of HeadwindMPS
}

// OverDeck gives the wind over deck that a natural wind makes on the ship: the
// wind vector less the ship's velocity.
func (s Ship) OverDeck(natural Vector) OverDeck {
	sinKeel, cosKeel := sincos(natural.FromDeg - s.CourseDeg)
	ahead := float64(natural.SpeedMPS*cosKeel) + s.SpeedMPS
	starboard := natural.SpeedMPS * sinKeel

	sinAxis, cosAxis := sincos(natural.FromDeg - s.CourseDeg - s.AxisOffsetDeg)
	sinOffset, cosOffset := sincos(s.AxisOffsetDeg)
	along := float64(natural.SpeedMPS * cosAxis)
	own := float64(s.SpeedMPS * cosOffset)
	return OverDeck{
		SpeedMPS:           elementary.Hypot(ahead, starboard),
		RelativeFromDeg:    direction(ahead, starboard),
		HeadwindMPS:        along + own,
		CrosswindMPS:       float64(natural.SpeedMPS*sinAxis) - float64(s.SpeedMPS*sinOffset),
		NaturalHeadwindMPS: along,
		ShipHeadwindMPS:    own,
	}
}

// Natural gives the natural wind behind a wind felt on the ship, whose FromDeg
// is measured from the ship's head. It undoes [Ship.OverDeck].
func (s Ship) Natural(felt Vector) Vector {
	sin, cos := sincos(felt.FromDeg)
	ahead := float64(felt.SpeedMPS*cos) - s.SpeedMPS
	starboard := felt.SpeedMPS * sin
	speed := elementary.Hypot(ahead, starboard)
	if speed == 0 {
		return Vector{}
	}
	return Vector{FromDeg: circle(s.CourseDeg + direction(ahead, starboard)), SpeedMPS: speed}
}

// LineUp gives the course and the ship's speed that put the wind over deck
// straight down a launch axis offset by axisOffsetDeg, at headwindMPS: of the
// two that do, the one that needs the lesser speed. ok is false where the wind
// is lighter than the ship can line up with (it is less than headwind times the
// sine of the offset) or only a ship going astern could.
//
// From the parts across and along the keel: headwind sin(offset) = wind
// sin(from - course), speed = headwind cos(offset) - wind cos(from - course).
func LineUp(natural Vector, axisOffsetDeg, headwindMPS float64) (courseDeg, speedMPS float64, ok bool) {
	sinOffset, cosOffset := sincos(axisOffsetDeg)
	across := headwindMPS * sinOffset
	if natural.SpeedMPS == 0 || math.Abs(across) > natural.SpeedMPS {
		return 0, 0, false
	}
	bow := elementary.Asin(across/natural.SpeedMPS) * 180 / math.Pi
	for _, fromBow := range [2]float64{bow, 180 - bow} {
		_, cos := sincos(fromBow)
		speed := float64(headwindMPS*cosOffset) - float64(natural.SpeedMPS*cos)
		if speed >= 0 {
			return circle(natural.FromDeg - fromBow), speed, true
		}
	}
	return 0, 0, false
}
