package chance

import (
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/violation"
)

// Dispersions are the standard deviations of what a take-off is computed with.
// [DefaultDispersions] is the start.
type Dispersions struct {
	ReactionS       float64 // pilot's error in commanding, or in releasing the brakes
	HeadwindMPS     float64 // wind along the axis
	GrossMass       float64 // relative
	TemperatureC    float64 // of the air, pressure held
	RollingFriction float64 // relative
	EngineThrust    float64 // relative
	CLMax           float64 // relative

	// A draw shared by all units of a lot.
	LotThrust   float64 // relative
	LotBurnTime float64 // relative

	// A draw for each unit. Nil takes what the unit's type states, 0 where it
	// states nothing.
	UnitThrust     *float64 // relative
	UnitBurnTime   *float64 // relative
	IgnitionDelayS *float64
	DudProbability *float64
}

// DefaultDispersions holds where nobody says otherwise. From memory, of the size
// that flight test reports give; no published source.
func DefaultDispersions() Dispersions {
	return Dispersions{
		ReactionS: 0.3, HeadwindMPS: 1, GrossMass: 0.01, TemperatureC: 1, RollingFriction: 0.1,
		EngineThrust: 0.01, CLMax: 0.01, LotThrust: 0.01, LotBurnTime: 0.01,
	}
}

// Validate returns a [violation.List] with every number out of its range.
func (d *Dispersions) Validate() error {
	var faults violation.List
	faults.Range("reaction_s", d.ReactionS, 0, 5, "")
	faults.Range("headwind_mps", d.HeadwindMPS, 0, 10, "")
	faults.Range("gross_mass", d.GrossMass, 0, 0.2, "a fraction")
	faults.Range("temperature_c", d.TemperatureC, 0, 15, "")
	faults.Range("rolling_friction", d.RollingFriction, 0, 0.3, "a fraction")
	faults.Range("engine_thrust", d.EngineThrust, 0, 0.2, "a fraction")
	faults.Range("cl_max", d.CLMax, 0, 0.2, "a fraction")
	faults.Range("lot_thrust", d.LotThrust, 0, 0.15, "a fraction")
	faults.Range("lot_burn_time", d.LotBurnTime, 0, 0.15, "a fraction")
	for _, unit := range []struct {
		path  string
		value *float64
		most  float64
	}{
		{"unit_thrust", d.UnitThrust, 0.3}, {"unit_burn_time", d.UnitBurnTime, 0.3},
		{"ignition_delay_s", d.IgnitionDelayS, 5}, {"dud_probability", d.DudProbability, 1},
	} {
		if unit.value != nil {
			faults.Range(unit.path, *unit.value, 0, unit.most, "")
		}
	}
	return faults.Err()
}

// ofUnit is the dispersion of one unit: the value given, else the type's.
func ofUnit(given, stated *float64) float64 {
	switch {
	case given != nil:
		return *given
	case stated != nil:
		return *stated
	}
	return 0
}

// spread is the dispersion of a unit.
type spread struct{ thrust, burnTime, delayS, dud float64 }

func (d *Dispersions) unit(t *booster.Type) spread {
	return spread{
		thrust:   ofUnit(d.UnitThrust, t.ThrustSigma),
		burnTime: ofUnit(d.UnitBurnTime, t.BurnTimeSigma),
		delayS:   ofUnit(d.IgnitionDelayS, t.IgnitionDelaySigmaS),
		dud:      ofUnit(d.DudProbability, t.DudProbability),
	}
}

// A Source is one thing that nobody knows exactly.
type Source uint8

// The sources, those of the take-off as a whole first.
const (
	Reaction Source = iota
	Headwind
	GrossMass
	Temperature
	RollingFriction
	EngineThrust
	CLMax
	LotThrust
	LotBurnTime
	UnitThrust
	UnitBurnTime
	IgnitionDelay
	Dud
	sourceCount
)

var sourceNames = [sourceCount]string{
	"reaction", "headwind", "gross mass", "temperature", "rolling friction", "engine thrust", "lift coefficient",
	"lot thrust", "lot burn time", "unit thrust", "unit burn time", "ignition delay", "duds",
}

// String names the source.
func (s Source) String() string {
	if s < sourceCount {
		return sourceNames[s]
	}
	return "unknown"
}

// Of what the columns of a sample mean: the sources of the take-off, then two
// for each lot, then four for each unit.
const (
	wholeColumns = int(LotThrust)
	lotColumns   = 2
	unitColumns  = 4
)

func columns(lots, units int) int { return wholeColumns + lotColumns*lots + unitColumns*units }

func lotColumn(lot int) int { return wholeColumns + lotColumns*lot }

func unitColumn(lots, unit int) int { return wholeColumns + lotColumns*lots + unitColumns*unit }

// source tells what a column draws.
func source(column, lots int) Source {
	switch {
	case column < wholeColumns:
		return Source(column)
	case column < unitColumn(lots, 0):
		return LotThrust + Source((column-wholeColumns)%lotColumns)
	}
	return UnitThrust + Source((column-unitColumn(lots, 0))%unitColumns)
}

// cut is where a normal draw is cut off, in standard deviations.
const cut = 3.0

// below is the probability that a normal draw cut at both ends is below z.
func below(z float64) float64 {
	low := elementary.NormalBelow(-cut)
	return min(1, max(0, (elementary.NormalBelow(z)-low)/(1-float64(2*low))))
}

// score is the inverse of below.
func score(p float64) float64 {
	low := elementary.NormalBelow(-cut)
	z := elementary.NormalQuantile(low + float64(p*(1-float64(2*low))))
	return min(cut, max(-cut, z))
}
