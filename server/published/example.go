package published

import (
	"errors"
	"fmt"
	"math"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/quantity"
	"bowroll/perf/takeoff"
)

// example is the aircraft of a textbook example and what it takes off in.
type example struct {
	setting     takeoff.Setting
	firstThrust float64
	lit         bool
	// gravity is the one that the example reckons with.
	gravity float64
}

// outOfGroundEffect is a wing height at which the ground has no effect: the
// examples that state drag as CD0 + k CL^2 mean k as it stands.
const outOfGroundEffect = 1e9

// readExample builds the aircraft from a row's inputs. Where the example's
// gravity is not standard, its mass is the one that has the example's weight in
// standard gravity: see [example.scale].
func readExample(in *inputs) example {
	weight := in.need("weight", quantity.Force)
	density := in.maybe("density_kg_m3", quantity.Ratio, air.SeaLevelDensityKgM3)
	thrust := in.need("thrust", quantity.Force)
	exponent := in.maybe("density_exponent", quantity.Ratio, 0)
	t := &aircraft.Type{
		WingAreaM2:    in.need("wing_area", quantity.Area),
		LiftoffFactor: in.number("factor"),
		Flaps:         []aircraft.Flap{{CLMax: in.number("cl_max"), CLRoll: in.number("cl_roll"), CD0: in.number("cd0")}},
		Thrust:        aircraft.ThrustTable{AirspeedMPS: []float64{0, 100}, ThrustN: []float64{thrust, thrust}, DensityExponent: exponent},
	}
	if in.has("k") {
		t.SpanM = math.Sqrt(t.WingAreaM2 * 8) // any: K alone counts
		t.Oswald = 1 / (math.Pi * t.AspectRatio() * in.number("k"))
		t.WingHeightM = outOfGroundEffect
	} else {
		t.SpanM = in.need("span", quantity.Length)
		t.Oswald = in.number("oswald")
		t.WingHeightM = in.need("wing_height", quantity.Length)
	}
	e := example{gravity: in.maybe("gravity_mps2", quantity.Ratio, air.GravityMPS2)}
	e.setting = takeoff.Setting{
		Aircraft:    t,
		GrossMassKG: weight / air.GravityMPS2,
		Air:         air.Air{DensityKgM3: density},
		HeadwindMPS: in.maybe("headwind", quantity.Speed, 0),
		Surface:     takeoff.Surface{RollingFriction: in.number("friction"), Upslope: in.maybe("upslope", quantity.Ratio, 0)},
	}
	if in.has("boost") {
		e.fit(in)
	}
	return e
}

// fit hangs units without mass and drag, of constant thrust, on the aircraft.
func (e *example) fit(in *inputs) {
	count := int(in.maybe("units", quantity.Ratio, 1))
	duds := int(in.maybe("duds", quantity.Ratio, 0))
	each := in.need("boost", quantity.Force) / float64(count)
	unit := &booster.Type{
		TraceS: []float64{0, in.need("burn", quantity.Time)}, TraceN: []float64{each, each},
		PressureSensitivityPerK: in.maybe("sensitivity", quantity.PerKelvin, 0),
	}
	grain := in.maybe("grain_difference", quantity.TemperatureDifference, 0) // from a reference of 0 degC
	for i := range count {
		e.setting.Units = append(e.setting.Units, booster.Unit{Type: unit, GrainTemperatureC: grain, Dud: i < duds})
	}
	e.firstThrust, e.lit = in.need("first_thrust", quantity.Time), true
}

// roll is the run of the example by the model.
func (e example) roll() (takeoff.Roll, error) {
	runner, err := takeoff.NewRunner(e.setting)
	if err != nil {
		return takeoff.Roll{}, err
	}
	var schedule booster.Schedule
	firing := takeoff.Firing{Mode: takeoff.Unlit}
	if e.lit {
		firing = takeoff.Firing{Mode: takeoff.Rolling, DelayS: e.firstThrust}
	}
	firing.Schedule(&schedule, e.setting.Units)
	roll := runner.Roll(&schedule)
	if !roll.LiftsOff {
		return roll, fmt.Errorf("the example does not lift off: it %s", roll.Reason)
	}
	return roll, nil
}

// scale turns times and distances of the model, which knows standard gravity
// only, into those of the example. With the same weight every acceleration is as
// the gravity, so times and distances between the same speeds are as its
// inverse.
func (e example) scale() float64 { return air.GravityMPS2 / e.gravity }

func computeExample(method string, in *inputs) (result, error) {
	if method == "hot-high-ratio" {
		return hotHighRatio(in)
	}
	e := readExample(in)
	part := 0.0
	if method == "run-ratio" {
		part = in.maybe("headwind_part", quantity.Ratio, 0)
	}
	if len(in.faults) > 0 {
		return result{}, nil // they say all there is to say
	}
	runner, err := takeoff.NewRunner(e.setting)
	if err != nil {
		return result{}, err
	}
	liftoff := runner.LiftoffAirspeedMPS(e.setting.GrossMassKG)
	switch method {
	case "liftoff-speed":
		return result{liftoff, quantity.Speed}, nil
	case "average-force-run":
		return result{averageForceRun(e, runner, liftoff), quantity.Length}, nil
	case "run-ratio":
		calm := e
		calm.setting.HeadwindMPS, calm.setting.Surface.Upslope = 0, 0
		e.setting.HeadwindMPS = part * liftoff
		return ratio(e, calm)
	}
	if e.gravity != air.GravityMPS2 && e.lit {
		return result{}, errors.New("a burn has its own time: with units the gravity must be standard")
	}
	roll, err := e.roll()
	if method == "time" {
		return result{roll.TimeS * e.scale(), quantity.Time}, err
	}
	return result{roll.DistanceM * e.scale(), quantity.Length}, err
}

// ratio is the run of one example over that of another.
func ratio(e, base example) (result, error) {
	a, err := e.roll()
	if err != nil {
		return result{}, err
	}
	b, err := base.roll()
	return result{a.DistanceM / b.DistanceM, quantity.Ratio}, err
}

func hotHighRatio(in *inputs) (result, error) {
	pressure := air.StandardPressurePa(in.need("elevation", quantity.Length))
	density := air.DensityKgM3(pressure, in.need("temperature", quantity.Temperature), 0)
	e := readExample(in)
	if len(in.faults) > 0 {
		return result{}, nil
	}
	base := e
	e.setting.Air.DensityKgM3 = density
	return ratio(e, base)
}

// averageForceRun is the textbook estimate: the run under the force that holds at
// 0.7 of lift-off speed, with the model's forces.
func averageForceRun(e example, runner *takeoff.Runner, liftoff float64) float64 {
	t, flap := e.setting.Aircraft, e.setting.Aircraft.Flaps[0]
	v := 0.7 * liftoff
	weight := float64(e.setting.GrossMassKG * air.GravityMPS2)
	area := e.setting.Air.DensityKgM3 * v * v / 2 * t.WingAreaM2
	drag := float64(area * (flap.CD0 + float64(aircraft.GroundEffect(t.WingHeightM, t.SpanM)*t.InducedFactor()*flap.CLRoll*flap.CLRoll)))
	force := runner.ThrustN(v) - drag - float64(e.setting.Surface.RollingFriction*(weight-float64(area*flap.CLRoll)))
	return e.setting.GrossMassKG * liftoff * liftoff / (2 * force) * e.scale()
}
