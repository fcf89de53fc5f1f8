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

// odds is a case prepared for being drawn many times.
type odds struct {
	c        *Case
	lots     int
	absolute float64 // temperature of the air, K
	units    []spread
	dudBelow []float64 // score below which a unit is a dud
}

func (c *Case) odds() odds {
	o := odds{c: c, lots: c.lots(), absolute: c.Runner.Setting().Air.TemperatureC + 273.15}
	for i := range c.Units {
		s := c.Dispersions.unit(c.Units[i].Type)
		o.units = append(o.units, s)
		o.dudBelow = append(o.dudBelow, math.Inf(-1))
		if s.dud > 0 {
			o.dudBelow[i] = score(s.dud)
		}
	}
	return o
}

// A draw is one take-off as it may turn out. Set it as often as wanted; it
// reuses its memory.
type draw struct {
	runner   takeoff.Runner
	units    []booster.Unit
	reaction float64 // pilot's error, s
	firstS   float64 // shortest ignition delay of a unit that fires
	relative booster.Schedule
	estimate takeoff.Estimator
}

// leastDeviation keeps a unit of a very uneven lot from pushing backwards or for
// ever.
const leastDeviation = -0.9

// set makes the draw with the scores z(column).
func (d *draw) set(o *odds, z func(column int) float64) {
	sigmas := &o.c.Dispersions
	d.reaction = sigmas.ReactionS * z(int(Reaction))
	o.c.Runner.Vary(&d.runner, takeoff.Variation{
		GrossMass:       sigmas.GrossMass * z(int(GrossMass)),
		HeadwindMPS:     sigmas.HeadwindMPS * z(int(Headwind)),
		Density:         o.absolute/(o.absolute+float64(sigmas.TemperatureC*z(int(Temperature)))) - 1,
		EngineThrust:    sigmas.EngineThrust * z(int(EngineThrust)),
		RollingFriction: sigmas.RollingFriction * z(int(RollingFriction)),
		CLMax:           sigmas.CLMax * z(int(CLMax)),
	})
	d.units = append(d.units[:0], o.c.Units...)
	d.firstS = math.Inf(1)
	for i := range d.units {
		u, s := &d.units[i], o.units[i]
		shared, own := lotColumn(o.c.lot(i)), unitColumn(o.lots, i)
		u.ThrustDeviation = max(leastDeviation, u.ThrustDeviation+float64(sigmas.LotThrust*z(shared))+float64(s.thrust*z(own)))
		u.RateDeviation = max(leastDeviation, u.RateDeviation+float64(sigmas.LotBurnTime*z(shared+1))+float64(s.burnTime*z(own+1)))
		u.LateS += float64(s.delayS * z(own+2))
		u.Dud = u.Dud || z(own+3) < o.dudBelow[i]
		if !u.Dud {
			d.firstS = min(d.firstS, max(0, u.Type.IgnitionDelayS+u.LateS))
		}
	}
	d.relative.Build(d.units, 0)
	d.estimate.Set(&d.runner, &d.relative)
}

// commandS is when the command comes in the draw, after brake release.
func (d *draw) commandS(f takeoff.Firing) float64 {
	if f.Mode == takeoff.OnBrakes {
		// The brakes are let go a while after thrust is felt, whenever that is.
		first := d.firstS
		if math.IsInf(first, 1) {
			first = 0
		}
		return -max(0, f.ReactionS+d.reaction) - first
	}
	return max(0, f.DelayS+d.reaction)
}

// run is the draw's run with a firing, +Inf where it does not lift off. s is
// scratch memory.
func (d *draw) run(f takeoff.Firing, s *booster.Schedule) float64 {
	if f.Mode == takeoff.Unlit {
		s.Carry(d.units)
		return takeoff.ByRun.Of(d.runner.Roll(s))
	}
	command := d.commandS(f)
	if run, ok := d.estimate.RunM(command); ok {
		return run
	}
	s.Build(d.units, command)
	return takeoff.ByRun.Of(d.runner.Roll(s))
}
