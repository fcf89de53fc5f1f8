// Package vectors holds the model against a file of reference numbers computed
// elsewhere: it reads the file, computes each case with this module's own
// packages and tells how far every quantity is off.
package vectors

import (
	"fmt"
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// The deviations allowed, relative.
const (
	Tolerance    = 1e-6
	AirTolerance = 1e-5 // the way through the air
)

// A Deviation is how far one quantity of one vector is off.
type Deviation struct {
	Quantity string
	ID       string
	Expected float64
	Computed float64
	Relative float64 // |computed - expected| / |expected|; +Inf where one of them does not exist
	Allowed  float64
}

// Within tells whether the deviation is allowed.
func (d Deviation) Within() bool { return d.Relative <= d.Allowed }

// Check computes every vector and returns every deviation, in the order of the
// file and of [Expect].
func Check(list []Vector) ([]Deviation, error) {
	var all []Deviation
	for i := range list {
		deviations, err := list[i].Check()
		if err != nil {
			return nil, fmt.Errorf("vector %s: %w", list[i].ID, err)
		}
		all = append(all, deviations...)
	}
	return all, nil
}

// Largest keeps the largest deviation of each quantity, in the order in which
// the quantities first appear.
func Largest(all []Deviation) []Deviation {
	var largest []Deviation
	place := map[string]int{}
	for _, d := range all {
		i, seen := place[d.Quantity]
		switch {
		case !seen:
			place[d.Quantity] = len(largest)
			largest = append(largest, d)
		case d.Relative > largest[i].Relative:
			largest[i] = d
		}
	}
	return largest
}

// comparison gathers the deviations of one vector.
type comparison struct {
	id   string
	list []Deviation
}

func (c *comparison) number(quantity string, expected *float64, computed, allowed float64) {
	if expected == nil {
		return
	}
	relative := math.Abs(computed-*expected) / math.Abs(*expected)
	if computed == *expected {
		relative = 0
	}
	if math.IsNaN(relative) {
		relative = math.Inf(1)
	}
	c.list = append(c.list, Deviation{quantity, c.id, *expected, computed, relative, allowed})
}

func (c *comparison) outcome(quantity string, expected, computed bool) {
	d := Deviation{Quantity: quantity, ID: c.id}
	if expected {
		d.Expected = 1
	}
	if computed {
		d.Computed = 1
	}
	if expected != computed {
		d.Relative = math.Inf(1)
	}
	c.list = append(c.list, d)
}

// Check computes one vector and returns how far each of its numbers is off.
func (v *Vector) Check() ([]Deviation, error) {
	setting, firing, err := v.Case.Setting()
	if err != nil {
		return nil, err
	}
	runner, err := takeoff.NewRunner(setting)
	if err != nil {
		return nil, err
	}
	var schedule booster.Schedule
	firing.Schedule(&schedule, setting.Units)

	c := comparison{id: v.ID}
	c.number("density", v.Expect.Density, setting.Air.DensityKgM3, Tolerance)
	roll := runner.Roll(&schedule)
	v.checkRoll(&c, runner, &schedule, roll)
	v.checkSearches(&c, runner, setting, firing)
	return c.list, nil
}

func (v *Vector) checkRoll(c *comparison, runner *takeoff.Runner, schedule *booster.Schedule, roll takeoff.Roll) {
	expect := v.Expect.Roll
	if expect == nil {
		return
	}
	c.outcome("roll.ok", expect.OK, roll.LiftsOff)
	c.number("roll.vlof_air", expect.VLOFAir, roll.LiftoffAirspeedMPS, Tolerance)
	if !expect.OK || !roll.LiftsOff {
		return
	}
	c.number("roll.t", expect.T, roll.TimeS, Tolerance)
	c.number("roll.v", expect.V, roll.GroundSpeedMPS, Tolerance)
	c.number("roll.s", expect.S, roll.DistanceM, Tolerance)
	c.number("run_with_rotation_m", v.Expect.RunWithRotationM, roll.RunM, Tolerance)

	if air := v.Expect.Air; air != nil {
		got := runner.AirDistance(schedule, roll, v.Case.ScreenM)
		c.outcome("air.ok", air.OK, got.Reached)
		if air.OK && got.Reached {
			c.number("air.s", air.S, got.DistanceM, AirTolerance)
			c.number("air.t", air.T, got.TimeS, AirTolerance)
			c.number("air.v", air.V, got.AirspeedMPS, AirTolerance)
			c.number("air.gamma", air.Gamma, got.ClimbAngleRad, AirTolerance)
		}
	}
	// Brakes at once, units silent, mass as at lift-off.
	var silent booster.Schedule
	silent.Silent(schedule.MassKG(roll.TimeS))
	stop := runner.Stop(&silent, roll.State, 0)
	c.number("stop_from_liftoff_speed_m", v.Expect.StopFromLiftoffSpeedM, stop.DistanceM, Tolerance)
}
