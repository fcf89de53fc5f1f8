package rpc

import (
	"math"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Doubtful input: a value that fits only after a slip (pounds sent as kilograms,
// knots as metres a second, a digit too many) is refused with the slip it looks
// like. What is believed of each input is the band of the type, the deck or the
// contract; here it is only looked up.

// saneWindMPS is the strongest wind that is believed where the deck states no
// ceiling: the least of hurricane force.
const saneWindMPS = 33.0

// ceilingReach is how far above a deck's ceiling a wind is still believed: such
// a wind is answered with "deck ceiling exceeded".
const ceilingReach = 1.2

// doubt judges one value. Where the contract's own range refused it already, the
// slip is added to that fault.
func (f *faults) doubt(field string, d quantity.Dimension, value *float64, believed func(float64) bool, allowed string) {
	if settled(value, believed) {
		return
	}
	slip, _ := quantity.FindSlip(d, *value, believed)
	hint := slip.Describe(d)
	path := f.prefix + "." + field
	for _, v := range f.list {
		if v.GetField() == path {
			if v.GetHint() == "" {
				v.Hint = hint
			}
			return
		}
	}
	if hint == "" {
		if allowed == "" {
			return // only a slip makes it doubtful
		}
		hint = "check it"
	}
	if allowed == "" {
		allowed = "a value that is believed"
	}
	f.add(field, number(*value), "band", allowed, hint)
}

// settled tells that a value raises no doubt: it is believed, or was refused
// already as no number.
func settled(value *float64, believed func(float64) bool) bool {
	return value == nil || math.IsNaN(*value) || math.IsInf(*value, 0) || believed(*value)
}

// doubtMass holds the mass to the type's band.
func (f *faults) doubtMass(c *bowrollv1.TakeoffCase) {
	t := c.GetAircraft()
	low, high := t.GetLeastMassKg(), math.Inf(1)
	if t.GreatestMassKg != nil {
		high = t.GetGreatestMassKg()
	}
	believed := quantity.Within(low, high)
	if settled(c.GrossMassKg, believed) {
		return
	}
	allowed := "at least " + number(low) + " kg for this type"
	if t.GreatestMassKg != nil {
		allowed = number(low) + " to " + number(high) + " kg for this type"
	}
	f.doubt("gross_mass_kg", quantity.Mass, c.GrossMassKg, believed, allowed)
}

// doubtAir adds what the contract's ranges for the air were missed by.
func (f *faults) doubtAir(a *bowrollv1.Air) {
	if a == nil {
		return
	}
	f.doubt("air.temperature_c", quantity.Temperature, a.TemperatureC, quantity.Within(-80, 60), "-80 to 60 degrees Celsius")
	f.doubt("air.pressure_pa", quantity.Pressure, a.PressurePa, quantity.Within(50000, 110000), "50000 to 110000 Pa")
	f.doubt("air.qnh_pa", quantity.Pressure, a.QnhPa, quantity.Within(80000, 110000), "80000 to 110000 Pa")
	f.doubt("air.pressure_altitude_m", quantity.Length, a.PressureAltitudeM, quantity.Within(-600, 6000), "-600 to 6000 m")
	f.doubt("air.elevation_m", quantity.Length, a.ElevationM, quantity.Within(-600, 6000), "-600 to 6000 m")
}

// doubtRun holds a run that the request gives to the spots of the deck: one that
// is longer than the longest, and as feet would be one of them, is in feet.
func (f *faults) doubtRun(given *float64, d *bowrollv1.Deck) {
	if len(d.GetSpots()) == 0 {
		return
	}
	shortest, longest := math.Inf(1), 0.0
	for _, s := range d.GetSpots() {
		shortest, longest = min(shortest, s.GetAvailableM()), max(longest, s.GetAvailableM())
	}
	if given == nil || *given <= longest {
		return
	}
	f.doubt("available_m", quantity.Length, given, quantity.Within(shortest, longest), "")
}

// doubtWind holds the wind to the deck's ceiling and the ship to her own speed.
func (f *faults) doubtWind(c *bowrollv1.TakeoffCase, deck *bowrollv1.Deck, site *bowrollv1.Site) {
	most := saneWindMPS
	if deck.WindCeilingMps != nil {
		most = ceilingReach * deck.GetWindCeilingMps()
	}
	over := quantity.Within(-most, most)
	f.doubt("headwind_mps", quantity.Speed, c.HeadwindMps, over, "")
	f.doubt("crosswind_mps", quantity.Speed, c.CrosswindMps, over, "")
	if w := c.GetDeckWind(); w != nil {
		f.doubt("deck_wind.speed_mps", quantity.Speed, w.SpeedMps, over, "")
	}
	if w := c.GetNaturalWind(); w != nil {
		natural := quantity.Within(0, saneWindMPS)
		f.doubt("natural_wind.speed_mps", quantity.Speed, w.SpeedMps, natural, "")
	}
	if site.GetGreatestSpeedMps() > 0 && c.GetShip() != nil {
		greatest := site.GetGreatestSpeedMps()
		f.doubt("ship.speed_mps", quantity.Speed, c.GetShip().SpeedMps, quantity.Within(0, greatest),
			"at most "+number(greatest)+" m/s, the greatest speed of "+site.GetName())
	}
}

// doubtGrain holds a grain temperature to the firing limits of the unit, or to
// the contract's range where there are none. A unit outside its limits is
// refused and never extrapolated.
func (f *faults) doubtGrain(field string, gave *float64, t *bowrollv1.BoosterType) {
	if t.FiringLeastC == nil || t.FiringGreatestC == nil {
		f.doubt(field, quantity.Temperature, gave, quantity.Within(-60, 80), "")
		return
	}
	believed := quantity.Within(t.GetFiringLeastC(), t.GetFiringGreatestC())
	if settled(gave, believed) {
		return
	}
	before := len(f.list)
	f.doubt(field, quantity.Temperature, gave, believed,
		number(t.GetFiringLeastC())+" to "+number(t.GetFiringGreatestC())+" degrees Celsius, the firing limits of the unit")
	if len(f.list) > before {
		v := f.list[before]
		v.Rule = "firing-limits"
		if v.GetHint() == "check it" {
			v.Hint = "a unit outside its firing limits may not be fired"
		} else {
			v.Hint += "; a unit outside its firing limits may not be fired"
		}
	}
}

// readsAsKnots tells whether a wind over deck that is above the deck's ceiling
// would be below it as knots.
func readsAsKnots(c *bowrollv1.TakeoffCase, ceilingMPS *float64) bool {
	if ceilingMPS == nil {
		return false
	}
	for _, speed := range []float64{c.GetHeadwindMps(), c.GetDeckWind().GetSpeedMps(), c.GetNaturalWind().GetSpeedMps()} {
		if slip, _ := quantity.FindSlip(quantity.Speed, speed, quantity.Within(-*ceilingMPS, *ceilingMPS)); slip == quantity.TradeForSI {
			return true
		}
	}
	return false
}
