package wind

import "bowroll/perf/violation"

// Credit is what a policy counts of the natural wind along the launch axis. The
// ship's own speed is no uncertainty of the weather and is credited whole.
// Ashore, 14 CFR 25.105(d)(1) counts half of a headwind and one and a half
// times a tailwind.
type Credit struct {
	HeadwindPart   float64 // part of a natural headwind that counts, 0 to 1
	TailwindFactor float64 // factor on a natural tailwind, at least 1
}

// FullCredit counts the natural wind as it is.
func FullCredit() Credit { return Credit{HeadwindPart: 1, TailwindFactor: 1} }

// Natural gives the credited part of a natural wind along the axis, positive
// from ahead.
func (c Credit) Natural(alongMPS float64) float64 {
	if alongMPS > 0 {
		return c.HeadwindPart * alongMPS
	}
	return c.TailwindFactor * alongMPS
}

// Headwind gives the credited headwind of a wind over deck.
func (c Credit) Headwind(o OverDeck) float64 {
	return o.ShipHeadwindMPS + c.Natural(o.NaturalHeadwindMPS)
}

// Felt gives the headwind that must be felt for creditedMPS to be credited,
// when the ship's own part of it is ownMPS. ok is false where no wind is
// enough, since none of a natural headwind counts.
func (c Credit) Felt(creditedMPS, ownMPS float64) (feltMPS float64, ok bool) {
	natural := creditedMPS - ownMPS
	if natural <= 0 {
		return ownMPS + natural/c.TailwindFactor, true
	}
	if c.HeadwindPart <= 0 {
		return 0, false
	}
	return ownMPS + natural/c.HeadwindPart, true
}

func (c Credit) check(faults *violation.List) {
	faults.Range("headwind_part", c.HeadwindPart, 0, 1, "part of a natural headwind that counts")
	faults.Range("tailwind_factor", c.TailwindFactor, 1, 3, "factor on a natural tailwind")
}
