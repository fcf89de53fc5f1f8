package takeoff

import (
	"fmt"
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/violation"
)

// FailureKind is a way in which units can fail.
type FailureKind uint8

const (
	OneDud    FailureKind = iota // one unit gives no thrust
	LineDud                      // every unit on one firing line
	AllDud                       // every unit
	SideLate                     // every unit of one side by the hang-fire allowance
	SigmaPair                    // one unit at +3 sigma of its lot beside one at -3 sigma
)

// String names the kind.
func (k FailureKind) String() string {
	switch k {
	case OneDud:
		return "one dud"
	case LineDud:
		return "firing line dud"
	case AllDud:
		return "all dud"
	case SideLate:
		return "one side late"
	case SigmaPair:
		return "unequal within the lot"
	}
	return "unknown"
}

// A Failure is one thing that goes wrong with a fit.
type Failure struct {
	Kind FailureKind
	Unit int    // OneDud, SigmaPair: index of the unit (the strong one)
	Pair int    // SigmaPair: index of the weak unit, -1 without one
	Line string // LineDud
	Side int    // SideLate: +1 starboard, -1 port
}

// Single tells whether the failure counts as one failure, which a fit must be
// covered against. All units dud does not, unless one line fires them all, and
// then it is that line's failure.
func (f Failure) Single() bool { return f.Kind != AllDud }

// String describes the failure by the indices of its units.
func (f Failure) String() string {
	switch f.Kind {
	case OneDud:
		return fmt.Sprintf("unit %d dud", f.Unit+1)
	case LineDud:
		return fmt.Sprintf("firing line %s dud", f.Line)
	case SideLate:
		if f.Side > 0 {
			return "starboard side late"
		}
		return "port side late"
	case SigmaPair:
		if f.Pair < 0 {
			return fmt.Sprintf("unit %d weak", f.Unit+1)
		}
		return fmt.Sprintf("unit %d strong, unit %d weak", f.Unit+1, f.Pair+1)
	}
	return f.Kind.String()
}

// Apply appends to dst the units as they behave with the failure.
func (f Failure) Apply(dst, units []booster.Unit) []booster.Unit {
	start := len(dst)
	dst = append(dst, units...)
	failed := dst[start:]
	for i := range failed {
		u := &failed[i]
		switch f.Kind {
		case OneDud:
			u.Dud = u.Dud || i == f.Unit
		case LineDud:
			u.Dud = u.Dud || u.Line == f.Line
		case AllDud:
			u.Dud = true
		case SideLate:
			if side(u) == f.Side && u.Type.HangFireAllowanceS != nil {
				u.LateS += *u.Type.HangFireAllowanceS
			}
		case SigmaPair:
			switch {
			case i == f.Pair || f.Pair < 0 && i == f.Unit:
				deviate(u, -3)
			case i == f.Unit:
				deviate(u, 3)
			}
		}
	}
	return failed
}

// deviate moves a unit by so many standard deviations of its lot, from where the
// lot stands beside the type.
func deviate(u *booster.Unit, sigmas float64) {
	if u.Type.ThrustSigma != nil {
		d := float64(sigmas * *u.Type.ThrustSigma)
		u.ThrustDeviation += d + float64(u.ThrustDeviation*d)
	}
	if u.Type.BurnTimeSigma != nil {
		d := float64(sigmas * *u.Type.BurnTimeSigma)
		u.RateDeviation += d + float64(u.RateDeviation*d)
	}
}

func side(u *booster.Unit) int {
	switch {
	case u.LateralM > 0:
		return 1
	case u.LateralM < 0:
		return -1
	}
	return 0
}

// Failures lists what can go wrong with a fit, each distinct case once, and
// what could not be listed because the type does not state it.
func Failures(units []booster.Unit) (list []Failure, missing []string) {
	if len(units) == 0 {
		return nil, nil
	}
	list = oneDuds(units)
	list = append(list, lineDuds(units)...)
	list = append(list, Failure{Kind: AllDud, Pair: -1})
	late, lateKnown := false, true
	thrust, burn := true, true
	for i := range units {
		late = late || units[i].LateralM != 0
		lateKnown = lateKnown && units[i].Type.HangFireAllowanceS != nil
		thrust = thrust && units[i].Type.ThrustSigma != nil
		burn = burn && units[i].Type.BurnTimeSigma != nil
	}
	switch {
	case late && lateKnown:
		list = append(list, Failure{Kind: SideLate, Side: -1, Pair: -1}, Failure{Kind: SideLate, Side: 1, Pair: -1})
	case late:
		missing = append(missing, "hang_fire_s")
	}
	if !thrust {
		missing = append(missing, "thrust_sigma")
	}
	if !burn {
		missing = append(missing, "burn_time_sigma")
	}
	if !thrust || !burn {
		return list, missing
	}
	return append(list, sigmaPairs(units)...), missing
}

// oneDuds has one unit of each distinct kind, temperature and arm.
func oneDuds(units []booster.Unit) (list []Failure) {
	for i := range units {
		seen := false
		for j := range i {
			seen = seen || units[i].Type == units[j].Type &&
				units[i].GrainTemperatureC == units[j].GrainTemperatureC &&
				units[i].ThrustDeviation == units[j].ThrustDeviation &&
				units[i].RateDeviation == units[j].RateDeviation &&
				math.Abs(units[i].LateralM) == math.Abs(units[j].LateralM) &&
				units[i].LongitudinalM == units[j].LongitudinalM
		}
		if !seen {
			list = append(list, Failure{Kind: OneDud, Unit: i, Pair: -1})
		}
	}
	return list
}

// lineDuds has each named line that fires more than one unit.
func lineDuds(units []booster.Unit) (list []Failure) {
	for i := range units {
		if units[i].Line == "" {
			continue
		}
		first, count := i, 0
		for j := range units {
			if units[j].Line == units[i].Line {
				first = min(first, j)
				count++
			}
		}
		if first == i && count > 1 {
			list = append(list, Failure{Kind: LineDud, Line: units[i].Line, Pair: -1})
		}
	}
	return list
}

// sigmaPairs has the pair with the longest arm, strong on either side, or a
// lone unit weak.
func sigmaPairs(units []booster.Unit) []Failure {
	strong, weak := -1, -1
	for i := range units {
		for j := range units {
			if units[i].LateralM > 0 && units[j].LateralM == -units[i].LateralM &&
				(strong < 0 || units[i].LateralM > units[strong].LateralM) {
				strong, weak = i, j
			}
		}
	}
	if strong < 0 {
		return []Failure{{Kind: SigmaPair, Unit: 0, Pair: -1}}
	}
	return []Failure{
		{Kind: SigmaPair, Unit: strong, Pair: weak},
		{Kind: SigmaPair, Unit: weak, Pair: strong},
	}
}

// CheckFit returns a [violation.List] when units are not fitted in pairs: every
// unit off the centre line needs one of the same type at the opposite arm, so
// that an odd count needs a centre-line station.
func CheckFit(units []booster.Unit) error {
	var faults violation.List
	for i := range units {
		balance := 0
		for j := range units {
			if units[j].Type != units[i].Type || units[j].LongitudinalM != units[i].LongitudinalM {
				continue
			}
			switch units[j].LateralM {
			case units[i].LateralM:
				balance++
			case -units[i].LateralM:
				balance--
			}
		}
		if units[i].LateralM != 0 && balance > 0 {
			faults.Add(violation.Index("units", i), "at lateral_m "+violation.Number(units[i].LateralM)+" without a partner",
				"paired with a unit of its type at the opposite station, or on the centre line",
				"an odd count needs a centre-line station")
		}
	}
	return faults.Err()
}
