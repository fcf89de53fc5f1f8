package takeoff

// A Variation is a departure from a setting. The zero value departs in nothing.
type Variation struct {
	GrossMass       float64 // relative: the mass without units is multiplied by 1 + this
	HeadwindMPS     float64 // added to the credited headwind
	Density         float64 // relative
	EngineThrust    float64 // relative, beside what density does
	RollingFriction float64 // relative
	CLMax           float64 // relative
	CD0             float64 // relative
}

// Vary makes into the runner of a setting that departs from r's, reusing its
// memory. It gives what preparing the varied setting anew would give, at a
// fraction of the work: a propeller's curve is stretched instead of solved for.
func (r *Runner) Vary(into *Runner, v Variation) {
	cells, thrust := into.cells, into.thrust
	*into = *r
	value, speed := 1.0, 1.0
	if v.Density != 0 {
		value, speed = r.setting.Aircraft.Densified(1 + v.Density)
	}
	value *= 1 + v.EngineThrust
	into.thrust = thrust
	r.thrust.Stretch(&into.thrust, value, speed)
	into.cells = append(cells[:0], r.cells...)
	if value != 1 || speed != 1 {
		stretchCells(into.cells, value, speed)
	}

	density := 1 + v.Density
	into.setting.Air.DensityKgM3 *= density
	into.halfRhoS *= density
	into.rollLiftK *= density
	into.rollDragK = float64(into.rollDragK * density)
	into.liftoffSq /= density * (1 + v.CLMax)
	into.flap.CLMax *= 1 + v.CLMax
	into.wing.clMax = into.flap.CLMax
	into.rollDragK += float64(into.halfRhoS * into.flap.CD0 * v.CD0)
	into.flap.CD0 *= 1 + v.CD0
	into.wing.zeroLift = into.flap.CD0
	into.SetGrossMass(r.grossMass * (1 + v.GrossMass))
	into.SetHeadwind(r.headwind + v.HeadwindMPS)
	into.rollingMu = max(0, r.rollingMu*(1+v.RollingFriction))
	into.setting.Surface.RollingFriction = into.rollingMu
}

func stretchCells(cells []cell, value, speed float64) {
	factors := [4]float64{value, value / speed, value / (speed * speed), value / (speed * speed * speed)}
	for i := range cells {
		c := &cells[i]
		c.low *= speed
		c.high *= speed
		c.base *= speed
		for k := range c.c {
			c.c[k] *= factors[k]
		}
	}
}
