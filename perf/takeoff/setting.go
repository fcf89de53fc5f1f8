package takeoff

import (
	"strconv"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/violation"
)

// A Setting is one aircraft about to take off: what it is, what it weighs, the
// air, the wind along the axis, the surface, and the units fitted to it.
type Setting struct {
	Aircraft    *aircraft.Type
	Flap        int     // index into Aircraft.Flaps
	GrossMassKG float64 // without booster units
	Air         air.Air
	HeadwindMPS float64 // credited wind along the axis, negative from behind
	Surface     Surface
	Units       []booster.Unit // fitted, as they are meant to burn
}

// A Surface is what the wheels or skis run on.
type Surface struct {
	RollingFriction float64 // mu
	BrakingFriction float64 // mu_brake, throttles closed and brakes on
	Upslope         float64 // rise over run along the axis, positive uphill
}

// Validate returns a [violation.List] with everything in the setting that
// cannot be worked with, or nil. It takes the types to have been validated.
func (s *Setting) Validate() error {
	var faults violation.List
	if s.Aircraft == nil {
		faults.Absent("aircraft", "given", "")
	} else if s.Flap < 0 || s.Flap >= len(s.Aircraft.Flaps) {
		faults.Add("flap", strconv.Itoa(s.Flap), "one of the aircraft's flap settings", "")
	}
	faults.Positive("gross_mass_kg", s.GrossMassKG, "without booster units")
	faults.Range("air.density_kg_m3", s.Air.DensityKgM3, 0.1, 3, "")
	faults.Range("headwind_mps", s.HeadwindMPS, -60, 100, "metres a second")
	faults.Range("surface.rolling_friction", s.Surface.RollingFriction, 0, 1, "")
	faults.Range("surface.braking_friction", s.Surface.BrakingFriction, 0, 1.5, "")
	faults.Range("surface.upslope", s.Surface.Upslope, -0.2, 0.2, "rise over run, 0.01 is 1 %")
	for i := range s.Units {
		path := violation.Index("units", i)
		unit := &s.Units[i]
		if unit.Type == nil {
			faults.Absent(path+".type", "given", "")
			continue
		}
		if faults.Finite(path+".grain_temperature_c", unit.GrainTemperatureC, "") && unit.Type.Firing != nil {
			faults.Range(path+".grain_temperature_c", unit.GrainTemperatureC,
				unit.Type.Firing.MinC, unit.Type.Firing.MaxC, "firing limits of the unit")
		}
		faults.NotNegative(path+".late_s", unit.LateS, "")
		faults.Range(path+".thrust_deviation", unit.ThrustDeviation, -0.9, 2, "")
		faults.Range(path+".rate_deviation", unit.RateDeviation, -0.9, 2, "")
	}
	return faults.Err()
}
