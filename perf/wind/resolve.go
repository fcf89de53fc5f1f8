package wind

import (
	"strconv"

	"bowroll/perf/elementary"
	"bowroll/perf/violation"
)

// A Reading is what one anemometer shows.
type Reading struct {
	Anemometer string // name
	Felt
	AveragingS float64 // time the mean was taken over
}

// Quality is what a policy asks of readings. It has no defaults.
type Quality struct {
	// LeastAveragingS and GreatestAveragingS bound the averaging time: a shorter
	// mean is a puff, a longer one has forgotten the last shift.
	LeastAveragingS, GreatestAveragingS float64
	// AgreeMPS is the greatest vector difference of two corrected readings that
	// counts as agreement.
	AgreeMPS float64
	// GustFactor and LullFactor, times the mean, stand in for a gust or lull
	// that no sensor gives; nil leaves it unknown.
	GustFactor, LullFactor *float64
}

// Resolved is one deck wind made of all readings, or the reason to hold.
type Resolved struct {
	// Hold says why there is no answer; empty where there is one.
	Hold Hold
	// Felt is the vector mean of the readings used, with the least lull and the
	// greatest gust. Meaningless on hold.
	Felt Felt
	// SigmaMPS is the standard deviation to plan with: the worst sensor's own or
	// half of the greatest difference, whichever is more.
	SigmaMPS float64
	// DifferenceMPS is the greatest vector difference between two readings used.
	DifferenceMPS float64
	// LullEstimated and GustEstimated tell that a factor stood in.
	LullEstimated, GustEstimated bool
	// Sensors says what became of each reading, in the order given.
	Sensors []Sensor
}

// Hold is a reason to give no wind.
type Hold string

// The reasons to hold.
const (
	HoldDisagree  Hold = "sensors disagree"
	HoldNoReading Hold = "no usable reading"
)

// A Sensor is what became of one reading.
type Sensor struct {
	Anemometer string
	Corrected  Felt
	Used       bool
	Note       string // why it was not used
}

// Resolve corrects each reading by its sensor's table and makes one deck wind of
// those that may be used. Where two of them differ by more than the policy
// allows, nobody can say which is right: the answer is held, not averaged.
//
// The error is a [violation.List].
func Resolve(readings []Reading, known []Anemometer, q Quality) (Resolved, error) {
	sensors, err := match(readings, known, q)
	if err != nil {
		return Resolved{}, err
	}
	var r Resolved
	var used []Felt
	for i, reading := range readings {
		corrected, sigma, note := sensors[i].correct(reading.Felt)
		switch {
		case note != "":
		case reading.AveragingS < q.LeastAveragingS:
			note = "averaged over " + seconds(reading.AveragingS) + ", less than " + seconds(q.LeastAveragingS)
		case reading.AveragingS > q.GreatestAveragingS:
			note = "averaged over " + seconds(reading.AveragingS) + ", more than " + seconds(q.GreatestAveragingS)
		default:
			used = append(used, corrected)
			r.SigmaMPS = max(r.SigmaMPS, sigma)
		}
		r.Sensors = append(r.Sensors, Sensor{reading.Anemometer, corrected, note == "", note})
	}
	if len(used) == 0 {
		r.Hold = HoldNoReading
		return r, nil
	}
	for i, a := range used {
		for _, b := range used[:i] {
			r.DifferenceMPS = max(r.DifferenceMPS, difference(a, b))
		}
	}
	if r.DifferenceMPS > q.AgreeMPS {
		r.Hold = HoldDisagree
		return r, nil
	}
	r.SigmaMPS = max(r.SigmaMPS, r.DifferenceMPS/2)
	r.Felt = merge(used)
	r.Felt.LullMPS, r.LullEstimated = estimate(r.Felt.LullMPS, q.LullFactor, r.Felt.SpeedMPS)
	r.Felt.GustMPS, r.GustEstimated = estimate(r.Felt.GustMPS, q.GustFactor, r.Felt.SpeedMPS)
	return r, nil
}

// merge gives the vector mean with the least lull and the greatest gust, a lull
// never above the mean nor a gust below it.
func merge(used []Felt) Felt {
	if len(used) == 1 {
		return used[0]
	}
	var ahead, starboard float64
	merged := Felt{}
	for _, f := range used {
		sin, cos := sincos(f.RelativeFromDeg)
		ahead += f.SpeedMPS * cos / float64(len(used))
		starboard += f.SpeedMPS * sin / float64(len(used))
		if f.LullMPS != nil && (merged.LullMPS == nil || *f.LullMPS < *merged.LullMPS) {
			merged.LullMPS = f.LullMPS
		}
		if f.GustMPS != nil && (merged.GustMPS == nil || *f.GustMPS > *merged.GustMPS) {
			merged.GustMPS = f.GustMPS
		}
	}
	merged.SpeedMPS = elementary.Hypot(ahead, starboard)
	merged.RelativeFromDeg = direction(ahead, starboard)
	if merged.LullMPS != nil {
		lull := min(*merged.LullMPS, merged.SpeedMPS)
		merged.LullMPS = &lull
	}
	if merged.GustMPS != nil {
		gust := max(*merged.GustMPS, merged.SpeedMPS)
		merged.GustMPS = &gust
	}
	return merged
}

// estimate puts a factor of the mean in the place of an unknown.
func estimate(known, factor *float64, mean float64) (*float64, bool) {
	if known != nil || factor == nil {
		return known, false
	}
	stand := *factor * mean
	return &stand, true
}

// difference is the size of the vector between two felt winds.
func difference(a, b Felt) float64 {
	sinA, cosA := sincos(a.RelativeFromDeg)
	sinB, cosB := sincos(b.RelativeFromDeg)
	return elementary.Hypot(float64(a.SpeedMPS*cosA)-float64(b.SpeedMPS*cosB), float64(a.SpeedMPS*sinA)-float64(b.SpeedMPS*sinB))
}

// match refuses faulty readings and policies, and finds each reading's sensor.
func match(readings []Reading, known []Anemometer, q Quality) ([]Anemometer, error) {
	var faults violation.List
	if len(readings) == 0 {
		faults.Absent("readings", "at least one reading", "")
	}
	sensors := make([]Anemometer, len(readings))
	for i, reading := range readings {
		path := violation.Index("readings", i)
		found := false
		for _, a := range known {
			if a.Name == reading.Anemometer {
				sensors[i], found = a, true
			}
		}
		if !found {
			faults.Add(path+".anemometer", strconv.Quote(reading.Anemometer), "an anemometer of this ship", "")
		}
		nest(&faults, path, reading.check)
	}
	for i, a := range known {
		faults.Nest(violation.Index("anemometers", i), a.Validate())
	}
	nest(&faults, "quality", q.check)
	return sensors, faults.Err()
}

func (r Reading) check(faults *violation.List) {
	faults.Range("relative_from_deg", r.RelativeFromDeg, 0, 360, "from the ship's head")
	faults.Range("averaging_s", r.AveragingS, 0, 3600, "")
	speed := faults.Range("speed_mps", r.SpeedMPS, 0, 80, "")
	if r.LullMPS != nil && faults.Range("lull_mps", *r.LullMPS, 0, 80, "") && speed && *r.LullMPS > r.SpeedMPS {
		faults.Add("lull_mps", violation.Number(*r.LullMPS), "at most speed_mps ("+violation.Number(r.SpeedMPS)+")", "")
	}
	if r.GustMPS != nil && faults.Range("gust_mps", *r.GustMPS, 0, 100, "") && speed && *r.GustMPS < r.SpeedMPS {
		faults.Add("gust_mps", violation.Number(*r.GustMPS), "at least speed_mps ("+violation.Number(r.SpeedMPS)+")", "")
	}
}

func (q Quality) check(faults *violation.List) {
	if faults.Range("least_averaging_s", q.LeastAveragingS, 0, 3600, "") {
		faults.Range("greatest_averaging_s", q.GreatestAveragingS, q.LeastAveragingS, 3600, "at least least_averaging_s")
	}
	faults.Range("agree_mps", q.AgreeMPS, 0, 20, "greatest difference that counts as agreement")
	if q.LullFactor != nil {
		faults.Range("lull_factor", *q.LullFactor, 0, 1, "")
	}
	if q.GustFactor != nil {
		faults.Range("gust_factor", *q.GustFactor, 1, 3, "")
	}
}

func seconds(s float64) string { return strconv.FormatFloat(s, 'g', -1, 64) + " s" }
