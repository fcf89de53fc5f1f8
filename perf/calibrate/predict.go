package calibrate

import (
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// measures is distance (m), time (s) and airspeed (m/s) at lift-off.
type measures [3]float64

// The places of measures.
const (
	distance = iota
	elapsed
	airspeed
)

// A departure is how a run departs from the nominal: relative errors of engine
// thrust, rolling friction, zero-lift drag and the thrust of the units, then the
// sources of error of a single run.
type departure struct {
	thrust, friction, drag, unitThrust float64

	headwindMPS, mass, firingS, technique float64
}

// predictor computes departures of one run, reusing memory.
type predictor struct {
	base, varied takeoff.Runner
	schedule     booster.Schedule
	units        []booster.Unit
	firing       takeoff.Firing
}

// at prepares a run. The error is a violation.List.
func (p *predictor) at(r *Run) error {
	p.firing = r.Firing
	return p.base.Reset(r.Setting)
}

// predict is what the model says; ok is false where there is no lift-off.
func (p *predictor) predict(d departure) (y measures, ok bool) {
	p.base.Vary(&p.varied, takeoff.Variation{
		GrossMass: d.mass, HeadwindMPS: d.headwindMPS,
		EngineThrust: d.thrust, RollingFriction: d.friction, CD0: d.drag,
		CLMax: 1/((1+d.technique)*(1+d.technique)) - 1,
	})
	setting := p.base.Setting()
	p.units = append(p.units[:0], setting.Units...)
	for i := range p.units {
		p.units[i].ThrustDeviation = float64((1+p.units[i].ThrustDeviation)*(1+d.unitThrust)) - 1
	}
	firing := p.firing
	if firing.Mode == takeoff.OnBrakes {
		firing.ReactionS = max(0, firing.ReactionS-d.firingS)
	} else {
		firing.DelayS = max(0, firing.DelayS+d.firingS)
	}
	firing.Schedule(&p.schedule, p.units)
	roll := p.varied.Roll(&p.schedule)
	return measures{roll.DistanceM, roll.TimeS, roll.AirspeedMPS}, roll.LiftsOff
}

// slope is the derivative of the prediction by one part of a departure, a central
// difference around at, one-sided where a side does not lift off.
func (p *predictor) slope(at departure, part func(*departure) *float64, step float64) (g measures, ok bool) {
	up, down := at, at
	*part(&up) += step
	*part(&down) -= step
	high, above := p.predict(up)
	low, below := p.predict(down)
	width := 2 * step
	if !above || !below {
		middle, ok := p.predict(at)
		switch {
		case !ok || !above && !below:
			return g, false
		case above:
			low = middle
		default:
			high = middle
		}
		width = step
	}
	for k := range g {
		g[k] = (high[k] - low[k]) / width
	}
	return g, true
}

// parts of a departure that are fitted, in the order of the columns of a
// sensitivity, and the steps of their differences.
var fitted = [4]struct {
	part func(*departure) *float64
	step float64
}{
	{func(d *departure) *float64 { return &d.thrust }, 2e-3},
	{func(d *departure) *float64 { return &d.friction }, 2e-2},
	{func(d *departure) *float64 { return &d.drag }, 1e-2},
	{func(d *departure) *float64 { return &d.unitThrust }, 2e-3},
}

// The columns of a sensitivity.
const (
	byThrust = iota
	byFriction
	byDrag
	byUnitThrust
)

// sensitivity is the derivatives by the four parts that are fitted.
type sensitivity [4]measures

func (p *predictor) sensitivity(at departure) (j sensitivity, ok bool) {
	for c := range fitted {
		if c == byUnitThrust && len(p.base.Setting().Units) == 0 {
			continue
		}
		if j[c], ok = p.slope(at, fitted[c].part, fitted[c].step); !ok {
			return j, false
		}
	}
	return j, true
}

// spread is the covariance of the three measures: instruments, and what single
// runs are off by in wind, mass, firing and technique.
func (p *predictor) spread(r *Run, at departure) (cov [3][3]float64, ok bool) {
	own := r.Sigma
	for k, s := range [3]float64{own.DistanceM, own.TimeS, own.AirspeedMPS} {
		cov[k][k] = s * s
	}
	sources := []struct {
		part  func(*departure) *float64
		sigma float64
	}{
		{func(d *departure) *float64 { return &d.headwindMPS }, own.HeadwindMPS},
		{func(d *departure) *float64 { return &d.mass }, own.MassKG / r.Setting.GrossMassKG},
		{func(d *departure) *float64 { return &d.technique }, TechniqueSigma},
		{func(d *departure) *float64 { return &d.firingS }, own.FiringS},
	}
	if len(r.Setting.Units) == 0 || r.Firing.Mode == takeoff.Unlit {
		sources = sources[:3]
	}
	for _, s := range sources {
		if s.sigma == 0 {
			continue
		}
		g, ok := p.slope(at, s.part, s.sigma)
		if !ok {
			return cov, false
		}
		for a := range g {
			for b := range g {
				cov[a][b] += float64(g[a] * g[b] * s.sigma * s.sigma)
			}
		}
	}
	return cov, true
}

// observed is what was measured; NaN stands for what was not.
func (r *Run) observed() measures {
	var y measures
	for k, v := range [3]*float64{r.DistanceM, r.TimeS, r.AirspeedMPS} {
		if y[k] = math.NaN(); v != nil {
			y[k] = *v
		}
	}
	return y
}

// measured are the places that were measured.
func (y measures) measured() []int {
	var at []int
	for k := range y {
		if !math.IsNaN(y[k]) {
			at = append(at, k)
		}
	}
	return at
}
