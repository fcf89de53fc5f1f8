package aircraft

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/elementary"
	"bowroll/perf/violation"
)

// A ThrustTable is engine thrust against true airspeed at the standard density
// of sea level. On the day it is multiplied by (rho/rho0)^DensityExponent.
type ThrustTable struct {
	AirspeedMPS     []float64
	ThrustN         []float64
	DensityExponent float64
}

// A Propeller makes thrust from shaft power by momentum theory:
//
//	eta P = T (Va + w),  w = -Va/2 + sqrt(Va^2/4 + T/(2 rho A))
//
// with P = P0 (rho/rho0)^DensityExponent and A the disc. For several propellers
// give the total power and the diameter of one disc of the same total area.
type Propeller struct {
	ShaftPowerW      float64 // P0, at the standard density of sea level
	DiameterM        float64
	EfficiencyFactor float64 // eta, 0 to 1: blade losses beside the induced one
	DensityExponent  float64
}

// The airspeeds at which a propeller's thrust is tabulated, 1 m/s apart.
const propellerTopMPS = 120

// ThrustN is the thrust in newtons at a true airspeed in m/s and a density in
// kg/m3.
func (p Propeller) ThrustN(airspeedMPS, densityKgM3 float64) float64 {
	power := float64(p.EfficiencyFactor * p.ShaftPowerW *
		elementary.Pow(densityKgM3/air.SeaLevelDensityKgM3, p.DensityExponent))
	if power <= 0 {
		return 0
	}
	area := math.Pi / 4 * p.DiameterM * p.DiameterM
	loading := 1 / (2 * densityKgM3 * area)
	half := float64(airspeedMPS / 2)

	// T (Va/2 + sqrt(Va^2/4 + T loading)) - power grows and is convex in T, so
	// Newton from the static thrust, which is never too small, falls
	// monotonically onto the root.
	thrust := elementary.Cbrt(power * power / loading)
	for range 100 {
		root := math.Sqrt(float64(half*half) + float64(thrust*loading))
		excess := float64(thrust*(half+root)) - power
		slope := half + root + thrust*loading/(2*root)
		change := excess / slope
		thrust -= change
		if math.Abs(change) <= 1e-15*thrust {
			break
		}
	}
	return thrust
}

// ThrustInto fits curve to the engine's thrust in newtons against true airspeed
// in m/s, at full throttle in air of the given density. It reuses the memory of
// curve.
func (t *Type) ThrustInto(curve *Curve, densityKgM3 float64) error {
	if t.Propeller == nil {
		scale := 1.0
		if t.Thrust.DensityExponent != 0 {
			scale = elementary.Pow(densityKgM3/air.SeaLevelDensityKgM3, t.Thrust.DensityExponent)
		}
		return curve.Fit(t.Thrust.AirspeedMPS, t.Thrust.ThrustN, scale)
	}
	var speeds, thrusts [propellerTopMPS + 1]float64
	for i := range speeds {
		speeds[i] = float64(i)
		thrusts[i] = t.Propeller.ThrustN(speeds[i], densityKgM3)
	}
	return curve.Fit(speeds[:], thrusts[:], 1)
}

func (p Propeller) validate() error {
	var faults violation.List
	faults.NotNegative("shaft_power_w", p.ShaftPowerW, "watts, all engines")
	faults.Positive("diameter_m", p.DiameterM, "")
	if faults.Positive("efficiency_factor", p.EfficiencyFactor, "a fraction") {
		faults.Range("efficiency_factor", p.EfficiencyFactor, 0, 1, "a fraction, not per cent")
	}
	faults.Range("density_exponent", p.DensityExponent, 0, 2, "")
	return faults.Err()
}

func (t ThrustTable) validate() error {
	var faults violation.List
	if err := checkPoints(t.AirspeedMPS, t.ThrustN); err != nil {
		faults = append(faults, err.(violation.List)...)
	}
	for i, thrust := range t.ThrustN {
		if thrust < 0 {
			faults.NotNegative(violation.Index("thrust_n", i), thrust, "")
		}
	}
	faults.Range("density_exponent", t.DensityExponent, 0, 2, "")
	return faults.Err()
}
