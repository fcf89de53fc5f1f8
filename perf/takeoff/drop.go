package takeoff

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/violation"
)

// Datum is what a height is measured from.
type Datum uint8

// The zero value is refused: a height without its datum is no height.
const (
	DatumUnstated Datum = iota
	AboveDeck           // the deck or the ground
	AboveSea
)

// String names the datum.
func (d Datum) String() string {
	switch d {
	case AboveDeck:
		return "deck"
	case AboveSea:
		return "sea"
	}
	return "not stated"
}

// A Drop is the release of units in the air.
type Drop struct {
	HeightM       float64 // of the units at release
	Above         Datum   // what HeightM is above
	AirspeedMPS   float64
	ClimbAngleDeg float64
	HeadwindMPS   float64 // along the track, as it is and not as credited
	CrosswindMPS  float64 // positive from starboard
	DensityKgM3   float64

	EmptyMassKG     float64
	LoadedMassKG    float64 // of a unit that did not fire
	DragAreaLeastM2 float64 // of a falling unit, however it tumbles
	DragAreaMostM2  float64
	Scatter         Scatter
}

// Scatter is how far a drop departs from its reckoning: standard deviations,
// and how many of them the zone is to hold.
type Scatter struct {
	ReleaseS float64 // moment of release
	WindMPS  float64 // each component of the wind while it falls
	Part     float64 // part of the distance fallen along the track, each way: tumbling, lift
	Sigmas   float64
}

// A Fall is one unit on its way down.
type Fall struct {
	Loaded     bool
	DragAreaM2 float64
	TimeS      float64 // release to surface
	AlongM     float64 // ahead of the point of release, over the ground or the deck under way
	AcrossM    float64 // to starboard of the track
	SpeedMPS   float64 // through the air, at the surface
	AngleDeg   float64 // of the path below the horizontal, through the air, there
}

// A DropZone is an ellipse along the track that holds where units come down:
// each of the falls with its scatter.
type DropZone struct {
	CentreAlongM, CentreAcrossM float64 // from the point of release
	SemiAlongM, SemiAcrossM     float64
	FirstS, ClearS              float64 // the first and the last unit down, after release
	Falls                       []Fall  // empty and loaded, with the drag areas that end farthest apart
}

// fall is a body without lift in still air: u along the track, w upward, height
// and distance, all in the air's own frame, so that a steady wind is added after.
type fall struct{ drag float64 } // rho CdA/(2 m)

const (
	fallU = iota
	fallW
	fallZ
	fallX
)

// rate is the equation of motion
//
//	du/dt = -(rho CdA/(2 m)) v u,   dw/dt = -g0 - (rho CdA/(2 m)) v w
func (f *fall) rate(y, dy *flightState) {
	resistance := f.drag * elementary.Hypot(y[fallU], y[fallW])
	dy[fallU] = -float64(resistance * y[fallU])
	dy[fallW] = -air.GravityMPS2 - float64(resistance*y[fallW])
	dy[fallZ] = y[fallW]
	dy[fallX] = y[fallU]
}

// fallLimitS ends a fall that does not end: none in the permitted range lasts
// so long.
const fallLimitS = 3600

// Validate returns a [violation.List] with everything that cannot be worked with.
func (d *Drop) Validate() error {
	var faults violation.List
	faults.Range("height_m", d.HeightM, 0, 3000, "")
	if d.Above != AboveDeck && d.Above != AboveSea {
		faults.Absent("above", "deck or sea", "a height without what it is above is no height")
	}
	faults.Range("airspeed_mps", d.AirspeedMPS, 0, 200, "")
	faults.Range("climb_angle_deg", d.ClimbAngleDeg, -45, 45, "")
	faults.Range("headwind_mps", d.HeadwindMPS, -60, 100, "")
	faults.Range("crosswind_mps", d.CrosswindMPS, -60, 60, "")
	faults.Range("density_kg_m3", d.DensityKgM3, 0.1, 3, "")
	if faults.Positive("empty_mass_kg", d.EmptyMassKG, "") {
		faults.Range("loaded_mass_kg", d.LoadedMassKG, d.EmptyMassKG, 1e5, "at least the empty mass")
	}
	if faults.NotNegative("drag_area_least_m2", d.DragAreaLeastM2, "") {
		faults.Range("drag_area_most_m2", d.DragAreaMostM2, d.DragAreaLeastM2, 50, "at least the least")
	}
	faults.Range("scatter.release_s", d.Scatter.ReleaseS, 0, 10, "")
	faults.Range("scatter.wind_mps", d.Scatter.WindMPS, 0, 20, "")
	faults.Range("scatter.part", d.Scatter.Part, 0, 1, "")
	faults.Range("scatter.sigmas", d.Scatter.Sigmas, 0, 6, "")
	return faults.Err()
}

// Zone follows the units down and lays the zone around where they end. The
// error, if any, is a [violation.List].
func (d *Drop) Zone() (DropZone, error) {
	if err := d.Validate(); err != nil {
		return DropZone{}, err
	}
	zone := DropZone{FirstS: math.Inf(1)}
	for _, loaded := range []bool{false, true} {
		for _, area := range d.extremes(loaded) {
			f := d.Fall(loaded, area)
			zone.FirstS, zone.ClearS = min(zone.FirstS, f.TimeS), max(zone.ClearS, f.TimeS)
			zone.Falls = append(zone.Falls, f)
		}
	}
	d.enclose(&zone)
	return zone, nil
}

// extremes are the drag areas that matter: the least and the most, and any
// between them with which a unit comes down earlier or later, nearer or farther
// than with either. There are such: thrown upward, a unit with more drag rises
// less and then falls slower.
func (d *Drop) extremes(loaded bool) []float64 {
	low, high := d.DragAreaLeastM2, d.DragAreaMostM2
	if low == high {
		return []float64{low}
	}
	areas := []float64{low, high}
	atLow, atHigh := d.Fall(loaded, low), d.Fall(loaded, high)
	for _, of := range []func(Fall) float64{
		func(f Fall) float64 { return f.TimeS },
		func(f Fall) float64 { return -f.TimeS },
		func(f Fall) float64 { return f.AlongM },
		func(f Fall) float64 { return -f.AlongM },
	} {
		area, value := least(func(area float64) float64 { return of(d.Fall(loaded, area)) }, low, high, 1e-3*(high-low))
		if value < min(of(atLow), of(atHigh)) {
			areas = append(areas, area)
		}
	}
	return areas
}

// Fall follows one unit of a drag area down.
func (d *Drop) Fall(loaded bool, dragAreaM2 float64) Fall {
	mass := d.EmptyMassKG
	if loaded {
		mass = d.LoadedMassKG
	}
	body := fall{drag: 0.5 * d.DensityKgM3 * dragAreaM2 / mass}
	sine, cosine := elementary.Sincos(d.ClimbAngleDeg * math.Pi / 180)
	y := flightState{fallU: d.AirspeedMPS * cosine, fallW: d.AirspeedMPS * sine, fallZ: d.HeightM}
	var still booster.Schedule
	still.Silent(0)
	path := flight{fall: &body}
	down := Fall{Loaded: loaded, DragAreaM2: dragAreaM2}
	// From the surface itself there is nothing to fall unless it is thrown up.
	if d.HeightM > 0 || y[fallW] > 0 {
		down.TimeS, _ = path.fly(&still, 0, fallLimitS, &y)
	}
	down.AlongM = y[fallX] - float64(d.HeadwindMPS*down.TimeS)
	down.AcrossM = -d.CrosswindMPS * down.TimeS
	down.SpeedMPS = elementary.Hypot(y[fallU], y[fallW])
	if down.SpeedMPS > 0 {
		down.AngleDeg = elementary.Atan2(-y[fallW], y[fallU]) * 180 / math.Pi
	}
	return down
}

// scatter is the standard deviation of where a fall ends, along and across.
func (d *Drop) scatter(f *Fall) (alongM, acrossM float64) {
	cosine := elementary.Cos(d.ClimbAngleDeg * math.Pi / 180)
	release := (float64(d.AirspeedMPS*cosine) - d.HeadwindMPS) * d.Scatter.ReleaseS
	drift := d.Scatter.WindMPS * f.TimeS
	// The distance that tumbling and lift act over is the one through the air.
	tumble := d.Scatter.Part * (f.AlongM + float64(d.HeadwindMPS*f.TimeS))
	return elementary.Hypot(release, elementary.Hypot(drift, tumble)), elementary.Hypot(drift, tumble)
}

// enclose lays an ellipse, its axes along and across the track, around every
// fall and its scatter. Scaled so that the ellipse is a circle of radius 1, a
// smaller one lies inside where its centre's distance and its greater semi-axis
// together are at most 1; where one does not, all is enlarged until it does.
func (d *Drop) enclose(zone *DropZone) {
	low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	spread := make([][2]float64, len(zone.Falls))
	for i := range zone.Falls {
		f := &zone.Falls[i]
		along, across := d.scatter(f)
		spread[i] = [2]float64{d.Scatter.Sigmas * along, d.Scatter.Sigmas * across}
		for k, at := range [2]float64{f.AlongM, f.AcrossM} {
			low[k] = min(low[k], at-spread[i][k])
			high[k] = max(high[k], at+spread[i][k])
		}
	}
	zone.CentreAlongM, zone.CentreAcrossM = 0.5*(low[0]+high[0]), 0.5*(low[1]+high[1])
	zone.SemiAlongM, zone.SemiAcrossM = 0.5*(high[0]-low[0]), 0.5*(high[1]-low[1])
	most := 1.0
	for i := range zone.Falls {
		f := &zone.Falls[i]
		along := part(f.AlongM-zone.CentreAlongM, zone.SemiAlongM)
		across := part(f.AcrossM-zone.CentreAcrossM, zone.SemiAcrossM)
		most = max(most, elementary.Hypot(along, across)+
			max(part(spread[i][0], zone.SemiAlongM), part(spread[i][1], zone.SemiAcrossM)))
	}
	zone.SemiAlongM *= most
	zone.SemiAcrossM *= most
}

// part is a/b, 0 where both are.
func part(a, b float64) float64 {
	if a == 0 {
		return 0
	}
	return a / b
}

// Contains tells whether a point, ahead and to starboard of the point of
// release, lies in the zone.
func (z *DropZone) Contains(alongM, acrossM float64) bool {
	return elementary.Hypot(part(alongM-z.CentreAlongM, z.SemiAlongM), part(acrossM-z.CentreAcrossM, z.SemiAcrossM)) <= 1
}
