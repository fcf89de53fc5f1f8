package aircraft

import "bowroll/perf/elementary"

// Stretch makes into the curve value f(x/speed): every point of c moved
// along by speed and up by value. It reuses the memory of into, which must not
// be c.
func (c *Curve) Stretch(into *Curve, value, speed float64) {
	into.pieces = append(into.pieces[:0], c.pieces...)
	into.first, into.last = c.first*value, c.last*value
	into.perStep = c.perStep / speed
	factors := [4]float64{value, value / speed, value / (speed * speed), value / (speed * speed * speed)}
	for i := range into.pieces {
		p := &into.pieces[i]
		p.From *= speed
		p.To *= speed
		for k := range p.C {
			p.C[k] *= factors[k]
		}
	}
}

// Densified gives the factors by which [Curve.Stretch] turns the thrust at one
// density into that at factor times it. A table is multiplied by factor to the
// power of its exponent. Momentum theory has one curve for all propellers in
// terms of Va/(P/(rho A))^(1/3), so that a propeller's stretches along as well.
func (t *Type) Densified(factor float64) (value, speed float64) {
	if t.Propeller == nil {
		return power(factor, t.Thrust.DensityExponent), 1
	}
	n := t.Propeller.DensityExponent
	speed = power(factor, (n-1)/3)
	return power(factor, n) / speed, speed
}

func power(x, exponent float64) float64 {
	if exponent == 0 || x == 1 {
		return 1
	}
	return elementary.Pow(x, exponent)
}
