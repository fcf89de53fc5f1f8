package aircraft_test

import (
	"testing"

	"bowroll/perf/aircraft"
)

// A correction multiplies thrust at every airspeed and density, of a table as of
// a propeller, and leaves the type that it was made from alone.
func TestCorrectionMultipliesThrust(t *testing.T) {
	c := aircraft.Correction{Thrust: 0.93, RollingFriction: 1.2, Drag: 1.1}
	table := sound()
	propeller := sound()
	propeller.Thrust = aircraft.ThrustTable{}
	propeller.Propeller = &aircraft.Propeller{ShaftPowerW: 220e3, DiameterM: 2.4, EfficiencyFactor: 0.85, DensityExponent: 0.8}
	for _, kind := range []aircraft.Type{table, propeller} {
		corrected := c.Apply(&kind)
		var before, after aircraft.Curve
		for _, rho := range []float64{1.3, 1.225, 1.0} {
			if err := kind.ThrustInto(&before, rho); err != nil {
				t.Fatal(err)
			}
			if err := corrected.ThrustInto(&after, rho); err != nil {
				t.Fatal(err)
			}
			for _, v := range []float64{0, 7, 31.5, 80} {
				near(t, "thrust", after.At(v), 0.93*before.At(v), 1e-12)
			}
		}
		near(t, "CD0", corrected.Flaps[0].CD0, 1.1*0.09, 1e-15)
		near(t, "CD0 of the original", kind.Flaps[0].CD0, 0.09, 0)
		if err := corrected.Validate(); err != nil {
			t.Error(err)
		}
	}
	if err := (aircraft.Correction{Thrust: 2, RollingFriction: 1, Drag: 1}).Validate(); err == nil {
		t.Error("a thrust of twice is believed")
	}
	if aircraft.Uncorrected.Times(c) != c {
		t.Error("uncorrected corrects")
	}
}
