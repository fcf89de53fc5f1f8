package calibrate

import (
	"fmt"
	"math"
)

// Limits of the screening.
const (
	// ContradictionScore is how many standard deviations time and distance may
	// disagree, whatever the thrust.
	ContradictionScore = 5.0
	// windSlackMPS is how far a headwind may be outside what the deck read before
	// its own standard deviation is counted, twice.
	windSlackMPS = 0.5
	// The thrust that is tried to explain a distance, as factors.
	leastThrust, mostThrust = 0.3, 3.0
)

// screen judges a run by itself, before any fit.
func (p *predictor) screen(r *Run) Judgement {
	if j := windOutside(r); j.Flag != Sound {
		return j
	}
	nominal, ok := p.predict(departure{})
	if !ok {
		return Judgement{NoLiftoff, "the model does not get it off in these conditions: mass, wind, units or friction are in doubt"}
	}
	y := r.observed()
	if math.IsNaN(y[distance]) || math.IsNaN(y[elapsed]) {
		return Judgement{}
	}
	// Speed grows all the way in the rolls that lift off at its end, so that no
	// distance is longer than the time at the last ground speed.
	last := nominal[airspeed] * (1 + 3*TechniqueSigma)
	if !math.IsNaN(y[airspeed]) {
		last = y[airspeed] + float64(3*r.Sigma.AirspeedMPS)
	}
	last -= r.Setting.HeadwindMPS - float64(3*r.Sigma.HeadwindMPS)
	if most := last * (y[elapsed] + float64(3*r.Sigma.TimeS)); y[distance]-float64(3*r.Sigma.DistanceM) > most {
		return Judgement{Contradiction, fmt.Sprintf("%.1f m in %.2f s would need a ground speed above that of lift-off, %.1f m/s, all the way", y[distance], y[elapsed], last)}
	}
	thrust, ok := p.explain(y[distance])
	if !ok {
		return Judgement{Contradiction, fmt.Sprintf("no thrust from %.1f to %.0f times its own makes a roll of %.1f m; the model says %.1f m", leastThrust, mostThrust, y[distance], nominal[distance])}
	}
	at := departure{thrust: thrust}
	there, _ := p.predict(at)
	g, ok := p.slope(at, fitted[byThrust].part, fitted[byThrust].step)
	cov, sure := p.spread(r, at)
	if !ok || !sure || g[distance] == 0 {
		return Judgement{}
	}
	// With distance explained by thrust, what is left of the time must be an error
	// of measurement.
	a := -g[elapsed] / g[distance]
	sigma := math.Sqrt(float64(a*a*cov[distance][distance]) + float64(2*a*cov[distance][elapsed]) + cov[elapsed][elapsed])
	if off := y[elapsed] - there[elapsed]; math.Abs(off) > ContradictionScore*sigma {
		return Judgement{Contradiction, fmt.Sprintf("%.1f m takes %.2f s whatever the thrust, give or take %.2f s, not %.2f s: time and distance cannot both be true", y[distance], there[elapsed], sigma, y[elapsed])}
	}
	return Judgement{}
}

func windOutside(r *Run) Judgement {
	slack := windSlackMPS + 2*r.Sigma.HeadwindMPS
	wind := r.Setting.HeadwindMPS
	switch {
	case r.LeastHeadwindMPS != nil && wind < *r.LeastHeadwindMPS-slack:
		return Judgement{WindOutside, fmt.Sprintf("headwind %.1f m/s, where the deck read no less than %.1f m/s", wind, *r.LeastHeadwindMPS)}
	case r.GreatestHeadwindMPS != nil && wind > *r.GreatestHeadwindMPS+slack:
		return Judgement{WindOutside, fmt.Sprintf("headwind %.1f m/s, where the deck read no more than %.1f m/s", wind, *r.GreatestHeadwindMPS)}
	}
	return Judgement{}
}

// explain finds the relative change of thrust that makes the roll as long as was
// observed, by bisection: more thrust, shorter roll.
func (p *predictor) explain(distanceM float64) (thrust float64, ok bool) {
	low, high := leastThrust-1, mostThrust-1
	if y, off := p.predict(departure{thrust: high}); !off || y[distance] > distanceM {
		return 0, false
	}
	if y, off := p.predict(departure{thrust: low}); off && y[distance] < distanceM {
		return 0, false
	}
	for range 40 {
		middle := (low + high) / 2
		if y, off := p.predict(departure{thrust: middle}); !off || y[distance] > distanceM {
			low = middle
		} else {
			high = middle
		}
	}
	return high, true
}
