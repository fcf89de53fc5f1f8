package calibrate

import (
	"math"

	"bowroll/perf/elementary"
)

// A Drift is a two-sided cumulative sum over scores in their order (Page,
// Continuous inspection schemes, Biometrika 41, 1954): each side adds what a
// score is beyond the allowance and falls back to zero.
type Drift struct {
	// Threshold that a sum may not go over, and what each score is forgiven, both
	// in standard deviations.
	Threshold, Allowance float64
	// Long sums scores above zero (runs longer than predicted), Short those below.
	Long, Short float64
	// Alarm is the run at whose score a sum first went over the threshold, -1
	// where none did.
	Alarm int
	// Count of scores taken in.
	Count int
}

// Allowance is half of the shift that is to be found soonest, one standard
// deviation.
const Allowance = 0.5

// NewDrift makes one with falseAlarmRuns scores between two false alarms on
// average.
func NewDrift(falseAlarmRuns float64) Drift {
	low, high := 0.0, 60.0
	for range 80 {
		if middle := (low + high) / 2; RunsToAlarm(middle, 0) < falseAlarmRuns {
			low = middle
		} else {
			high = middle
		}
	}
	return Drift{Threshold: high, Allowance: Allowance, Alarm: -1}
}

// Add takes in the next score, that of a run.
func (d *Drift) Add(score float64, run int) {
	d.Long = max(0, d.Long+score-d.Allowance)
	d.Short = max(0, d.Short-score-d.Allowance)
	if d.Long > d.Threshold || d.Short > d.Threshold {
		if d.Alarm < 0 {
			d.Alarm = run
		}
	}
	d.Count++
}

// RunsToAlarm is how many scores it takes to an alarm on average, with scores
// that are normal around shift with a standard deviation of one: Siegmund's
// approximation (Sequential Analysis, Springer 1985, section 2.6), two-sided.
func RunsToAlarm(threshold, shift float64) float64 {
	return 1 / (1/oneSided(threshold, shift) + 1/oneSided(threshold, -shift))
}

func oneSided(threshold, shift float64) float64 {
	drift := shift - Allowance
	b := threshold + 1.166 // the mean overshoot of a normal walk, twice
	if math.Abs(drift) < 1e-9 {
		return b * b
	}
	return (elementary.Exp(-2*drift*b) + float64(2*drift*b) - 1) / (2 * drift * drift)
}
