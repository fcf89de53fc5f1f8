package chance

import (
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	"bowroll/perf/violation"
)

// A Case is a take-off whose inputs are known only so well.
type Case struct {
	Runner *takeoff.Runner
	Units  []booster.Unit
	// Lots numbers the lot of each unit from 0; nil where all are of one.
	Lots        []int
	Dispersions Dispersions
}

// Validate returns a [violation.List] with everything that cannot be worked with.
func (c *Case) Validate() error {
	var faults violation.List
	if c.Runner == nil {
		faults.Absent("runner", "given", "")
	}
	if c.Lots != nil && len(c.Lots) != len(c.Units) {
		faults.Add("lots", violation.Number(float64(len(c.Lots)))+" values",
			"as many as there are units ("+violation.Number(float64(len(c.Units)))+")", "")
	}
	for i, lot := range c.Lots {
		faults.Range(violation.Index("lots", i), float64(lot), 0, float64(len(c.Lots)-1), "lots are numbered from 0")
	}
	faults.Nest("dispersions", c.Dispersions.Validate())
	return faults.Err()
}

// lots is how many lots there are, at least one.
func (c *Case) lots() int {
	most := 0
	for _, lot := range c.Lots {
		most = max(most, lot)
	}
	return most + 1
}

func (c *Case) lot(unit int) int {
	if c.Lots == nil {
		return 0
	}
	return c.Lots[unit]
}

// columns is how many coordinates a draw of the case takes.
func (c *Case) columns() int { return columns(c.lots(), len(c.Units)) }

// sigma is the dispersion that belongs to a column; for duds, 1 where there are
// any.
func (c *Case) sigma(column int) float64 {
	d, lots := &c.Dispersions, c.lots()
	switch s := source(column, lots); s {
	case Reaction:
		return d.ReactionS
	case Headwind:
		return d.HeadwindMPS
	case GrossMass:
		return d.GrossMass
	case Temperature:
		return d.TemperatureC
	case RollingFriction:
		return d.RollingFriction
	case EngineThrust:
		return d.EngineThrust
	case CLMax:
		return d.CLMax
	case LotThrust:
		return d.LotThrust
	case LotBurnTime:
		return d.LotBurnTime
	default:
		u := d.unit(c.Units[(column-unitColumn(lots, 0))/unitColumns].Type)
		switch s {
		case UnitThrust:
			return u.thrust
		case UnitBurnTime:
			return u.burnTime
		case IgnitionDelay:
			return u.delayS
		}
		if u.dud > 0 {
			return 1
		}
		return 0
	}
}

// A draw is one take-off as it may turn out. Set it as often as wanted; it
// reuses its memory.
type draw struct {
	runner   takeoff.Runner
	units    []booster.Unit
	reaction float64 // pilot's error, s
	firstS   float64 // shortest ignition delay of a unit that fires
	schedule booster.Schedule
}

// set makes the draw with the scores z(column).
func (d *draw) set(c *Case, z func(column int) float64) {
	sigmas := &c.Dispersions
	lots := c.lots()
	d.reaction = sigmas.ReactionS * z(int(Reaction))
	absolute := c.Runner.Setting().Air.TemperatureC + 273.15
	c.Runner.Vary(&d.runner, takeoff.Variation{
		GrossMass:       sigmas.GrossMass * z(int(GrossMass)),
		HeadwindMPS:     sigmas.HeadwindMPS * z(int(Headwind)),
		Density:         absolute/(absolute+sigmas.TemperatureC*z(int(Temperature))) - 1,
		EngineThrust:    sigmas.EngineThrust * z(int(EngineThrust)),
		RollingFriction: sigmas.RollingFriction * z(int(RollingFriction)),
		CLMax:           sigmas.CLMax * z(int(CLMax)),
	})
	d.units = append(d.units[:0], c.Units...)
	d.firstS = math.Inf(1)
	for i := range d.units {
		u := &d.units[i]
		s := sigmas.unit(u.Type)
		shared, own := lotColumn(c.lot(i)), unitColumn(lots, i)
		u.ThrustDeviation += sigmas.LotThrust*z(shared) + s.thrust*z(own)
		u.RateDeviation += sigmas.LotBurnTime*z(shared+1) + s.burnTime*z(own+1)
		u.LateS += s.delayS * z(own+2)
		u.Dud = u.Dud || s.dud > 0 && below(z(own+3)) < s.dud
		if !u.Dud {
			d.firstS = min(d.firstS, max(0, u.Type.IgnitionDelayS+u.LateS))
		}
	}
}

// fire builds the draw's thrust for a firing.
func (d *draw) fire(f takeoff.Firing) {
	switch f.Mode {
	case takeoff.Rolling:
		d.schedule.Build(d.units, max(0, f.DelayS+d.reaction))
	case takeoff.OnBrakes:
		// The brakes are let go a while after thrust is felt, whenever that is.
		first := d.firstS
		if math.IsInf(first, 1) {
			first = 0
		}
		d.schedule.Build(d.units, -max(0, f.ReactionS+d.reaction)-first)
	default:
		d.schedule.Carry(d.units)
	}
}

// roll is the draw's roll with a firing.
func (d *draw) roll(f takeoff.Firing) takeoff.Roll {
	d.fire(f)
	return d.runner.Roll(&d.schedule)
}
