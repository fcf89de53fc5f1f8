package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// Measure says what a search makes least and a limit is held against.
type Measure uint8

const (
	ByRun  Measure = iota // roll and rotation
	ByRoll                // roll alone
)

// Of is the measured length in metres, +Inf where there is no lift-off.
func (m Measure) Of(roll Roll) float64 {
	switch {
	case !roll.LiftsOff:
		return math.Inf(1)
	case m == ByRoll:
		return roll.DistanceM
	}
	return roll.RunM
}

// FiringSearch says what to look through for the best firing.
type FiringSearch struct {
	Measure   Measure
	Brakes    bool    // try firing on the brakes beside every rolling command
	ReactionS float64 // on the brakes: first thrust to release
	House     []Firing
}

// A Choice is one firing and what comes of it.
type Choice struct {
	Firing      Firing
	Roll        Roll
	HoldMarginN float64 // on the brakes: by how much they hold; else 0
}

// BestFiring is the nominal best time of command and what it was compared with.
type BestFiring struct {
	Choice              // the best of all
	Rolling  Choice     // the best while rolling
	Brakes   *Choice    // on the brakes, if asked
	House    []Choice   // house rules, as asked
	Unlit    Roll       // units carried, never fired
	Searched [2]float64 // command times searched, s
}

// The scan over command times before refining.
const (
	scanPoints   = 64
	scanRefined  = 3
	firingTolerS = 1e-7
)

// BestFiring finds the command time with the least run for the units given,
// over all of 0 to lift-off without firing, with the brakes and the house rules
// evaluated beside it. The run has several stretches that fall and rise with
// the command time and a kink wherever burn-out meets lift-off, so the whole
// range is scanned before the lowest places are refined.
//
// The schedule is scratch memory and holds the best firing on return. Units may
// differ from the fit in how they behave, not in what they are.
func (r *Runner) BestFiring(s *booster.Schedule, units []booster.Unit, search FiringSearch) BestFiring {
	var best BestFiring
	s.Carry(units)
	best.Unlit = r.Roll(s)
	best.Rolling = r.bestRolling(s, units, search.Measure, best.Unlit)
	best.Searched[1] = searchEnd(best.Unlit)
	best.Choice = best.Rolling
	if search.Brakes {
		brakes := r.choose(s, units, Firing{Mode: OnBrakes, ReactionS: search.ReactionS})
		best.Brakes = &brakes
		if search.Measure.Of(brakes.Roll) < search.Measure.Of(best.Roll) {
			best.Choice = brakes
		}
	}
	for _, rule := range search.House {
		best.House = append(best.House, r.choose(s, units, rule))
	}
	best.Firing.Schedule(s, units)
	return best
}

// choose evaluates one firing.
func (r *Runner) choose(s *booster.Schedule, units []booster.Unit, f Firing) Choice {
	f.Schedule(s, units)
	choice := Choice{Firing: f, Roll: r.Roll(s)}
	if f.Mode == OnBrakes {
		choice.HoldMarginN = r.BrakesHold(s, f)
	}
	return choice
}

// searchEnd is the last command time worth trying.
func searchEnd(unlit Roll) float64 {
	if unlit.LiftsOff {
		return unlit.TimeS
	}
	return LimitS
}

func (r *Runner) bestRolling(s *booster.Schedule, units []booster.Unit, measure Measure, unlit Roll) Choice {
	length := func(delay float64) float64 {
		s.Build(units, delay)
		return measure.Of(r.Roll(s))
	}
	end := searchEnd(unlit)
	var times, lengths [scanPoints + 1]float64
	for i := range times {
		part := float64(i) / scanPoints
		if !unlit.LiftsOff {
			// Nothing changes any more once the speed is steady.
			part *= part
		}
		times[i] = part * end
		lengths[i] = length(times[i])
	}
	delay, shortest := 0.0, math.Inf(1)
	for i := range times {
		if lengths[i] < shortest {
			delay, shortest = times[i], lengths[i]
		}
	}
	var done [scanPoints + 1]bool
	for range scanRefined {
		low := -1
		for i := range times {
			if done[i] || math.IsInf(lengths[i], 1) || (low >= 0 && lengths[i] >= lengths[low]) {
				continue
			}
			if (i > 0 && lengths[i-1] < lengths[i]) || (i < scanPoints && lengths[i+1] < lengths[i]) {
				continue
			}
			low = i
		}
		if low < 0 {
			break
		}
		done[low] = true
		from, to := times[max(0, low-1)], times[min(scanPoints, low+1)]
		if x, value := least(length, from, to, firingTolerS); value < shortest {
			delay, shortest = x, value
		}
	}
	if swells(s.Segments()) > 1 && !math.IsInf(shortest, 1) {
		delay, shortest = lookBetween(length, times[:], lengths[:], delay, shortest)
	}
	if x, value, ok := r.kink(s, units, measure, delay); ok && value <= shortest*(1+kinkSlack) {
		delay = x
	}
	return r.choose(s, units, Firing{Mode: Rolling, DelayS: delay})
}

// Thrust that swells more than once may give the run a lowest place between two
// command times of the scan that neither of them shows.
const (
	swellShare    = 0.05 // of the greatest thrust: less of a rise or a fall is none
	betweenPoints = 7
	betweenReach  = 1.1 // of the shortest run known: where it is worth looking
)

// swells is how often the thrust of a schedule rises from the start or from a fall.
func swells(segments []booster.Segment) int {
	var greatest, low, high float64
	for i := range segments {
		greatest = max(greatest, segments[i].ForwardN)
	}
	least := float64(swellShare * greatest)
	count, falls := 0, true
	at := func(thrust float64) {
		switch {
		case falls && thrust > low+least:
			count, falls, high = count+1, false, thrust
		case falls:
			low = min(low, thrust)
		case thrust < high-least:
			falls, low = true, thrust
		default:
			high = max(high, thrust)
		}
	}
	for i := range segments {
		at(segments[i].ForwardN)
		if i+1 < len(segments) { // where it jumps the end is not the next start
			at(segments[i].ForwardN + float64(segments[i].ForwardNPS*(segments[i+1].StartS-segments[i].StartS)))
		}
	}
	return count
}

// lookBetween looks between the command times of a scan for a run shorter than the
// shortest known, and refines what it finds.
func lookBetween(length func(float64) float64, times, lengths []float64, delay, shortest float64) (at, value float64) {
	at, value = delay, shortest
	for i := range len(times) - 1 {
		if min(lengths[i], lengths[i+1]) > betweenReach*shortest {
			continue
		}
		step := float64((times[i+1] - times[i]) / (betweenPoints + 1))
		for j := 1; j <= betweenPoints; j++ {
			t := times[i] + float64(float64(j)*step)
			if math.Abs(t-at) <= step {
				continue
			}
			// What rounding alone makes shorter is no lower place.
			if run := length(t); run < value*(1-kinkSlack) {
				at, value = t, run
				if x, run := least(length, t-step, t+step, firingTolerS); run < value {
					at, value = x, run
				}
			}
		}
	}
	return at, value
}

// Near a kink: how far from it the section search may end, and by how much the
// run at the kink may seem longer than what that search found by rounding.
const (
	kinkReachS = 1e-5
	kinkSlack  = 1e-8
)

// kink finds the command time, near one given, at which lift-off comes exactly
// at a corner of the schedule. There the run has its kink, and the root of the
// one condition is sharper than the minimum of the other.
func (r *Runner) kink(s *booster.Schedule, units []booster.Unit, measure Measure, delay float64) (at, value float64, ok bool) {
	s.Build(units, delay)
	roll := r.Roll(s)
	corner := math.Inf(1)
	for _, segment := range s.Segments() {
		if math.Abs(segment.StartS-roll.TimeS) < kinkReachS {
			corner = segment.StartS - delay
		}
	}
	if math.IsInf(corner, 1) || !roll.LiftsOff {
		return 0, 0, false
	}
	// The schedule keeps its shape: its corners move with the command.
	past := func(delay float64) float64 {
		s.Build(units, delay)
		roll = r.Roll(s)
		if !roll.LiftsOff {
			return math.Inf(1)
		}
		return roll.TimeS - corner - delay
	}
	low, high := max(0, delay-kinkReachS), delay+kinkReachS
	atLow, atHigh := past(low), past(high)
	if !(atLow >= 0 && atHigh < 0) {
		return 0, 0, false
	}
	at = lastFit(past, low, high, atLow, atHigh, 1e-12)
	past(at)
	return at, measure.Of(roll), true
}
