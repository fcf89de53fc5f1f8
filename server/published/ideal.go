package published

import (
	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/quantity"
	"bowroll/perf/takeoff"
)

// ideal is an aircraft whose acceleration is A - B Va^2, made to lift off at a
// given airspeed: constant thrust, drag without lift, no friction.
func ideal(acceleration, decay, speed float64) example {
	const mass, area, density, factor = 1000, 10, air.SeaLevelDensityKgM3, 1.1
	t := &aircraft.Type{
		WingAreaM2: area, SpanM: 10, Oswald: 0.8, WingHeightM: 1, LiftoffFactor: factor,
		Flaps: []aircraft.Flap{{
			CLMax: factor * factor * 2 * mass * air.GravityMPS2 / (density * area * speed * speed),
			CD0:   2 * mass * decay / (density * area),
		}},
		Thrust: aircraft.ThrustTable{AirspeedMPS: []float64{0, 100}, ThrustN: []float64{mass * acceleration, mass * acceleration}},
	}
	return example{gravity: air.GravityMPS2, setting: takeoff.Setting{Aircraft: t, GrossMassKG: mass, Air: air.Air{DensityKgM3: density}}}
}

// boost adds units of constant thrust, without mass and drag.
func (e *example) boost(acceleration, burn, firstThrust float64) {
	force := acceleration * e.setting.GrossMassKG
	e.setting.Units = []booster.Unit{{Type: &booster.Type{TraceS: []float64{0, burn}, TraceN: []float64{force, force}}}}
	e.firstThrust, e.lit = firstThrust, true
}

func computeIdeal(method string, in *inputs) (result, error) {
	switch method {
	case "saved-run", "saved-time":
		return saved(method, in)
	case "weight-rise-speed", "weight-rise-run":
		return weightRise(method, in)
	}
	speed := in.need("speed", quantity.Speed)
	e := ideal(in.number("acceleration_mps2"), in.number("decay_per_m"), speed)
	e.setting.HeadwindMPS = in.maybe("headwind", quantity.Speed, 0)
	if in.has("boost_mps2") {
		e.boost(in.number("boost_mps2"), in.need("burn", quantity.Time), in.need("first_thrust", quantity.Time))
	}
	if len(in.faults) > 0 {
		return result{}, nil
	}
	if method == "quadratic-ratio" {
		calm := e
		calm.setting.HeadwindMPS = 0
		return ratio(e, calm)
	}
	roll, err := e.roll()
	if method == "quadratic-time" {
		return result{roll.TimeS, quantity.Time}, err
	}
	return result{roll.DistanceM, quantity.Length}, err
}

// saved is the part of an unassisted run, or of its time, that a boost from brake
// release saves. The mean acceleration and the lift-off speed follow from the
// unassisted run and its time.
func saved(method string, in *inputs) (result, error) {
	run, time := in.need("unassisted_run", quantity.Length), in.need("unassisted_time", quantity.Time)
	mass, force, burn := in.need("mass", quantity.Mass), in.need("boost", quantity.Force), in.need("burn", quantity.Time)
	if len(in.faults) > 0 {
		return result{}, nil
	}
	base := ideal(2*run/(time*time), 0, 2*run/time)
	boosted := base
	boosted.boost(force/mass, burn, 0)
	without, err := base.roll()
	if err != nil {
		return result{}, err
	}
	with, err := boosted.roll()
	if method == "saved-time" {
		return result{1 - with.TimeS/without.TimeS, quantity.Ratio}, err
	}
	return result{1 - with.DistanceM/without.DistanceM, quantity.Ratio}, err
}

// weightRise is what a part more weight does to lift-off speed or run, the thrust
// being as it was.
func weightRise(method string, in *inputs) (result, error) {
	rise := in.number("rise")
	if len(in.faults) > 0 {
		return result{}, nil
	}
	base := ideal(2, 0, 50)
	heavy := base
	heavy.setting.GrossMassKG *= 1 + rise
	if method == "weight-rise-run" {
		return ratio(heavy, base)
	}
	a, err := heavy.roll()
	if err != nil {
		return result{}, err
	}
	b, err := base.roll()
	return result{a.LiftoffAirspeedMPS / b.LiftoffAirspeedMPS, quantity.Ratio}, err
}
