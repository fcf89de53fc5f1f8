package takeoff

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/booster"
)

// LimitOutcome says whether a limit lies inside the range searched.
type LimitOutcome uint8

const (
	LimitFound LimitOutcome = iota // Value is the limit
	AlwaysFits                     // no limit in range: it fits at both ends
	NeverFits                      // none: it does not fit anywhere in range
)

// String names the outcome.
func (o LimitOutcome) String() string {
	switch o {
	case LimitFound:
		return "found"
	case AlwaysFits:
		return "no limit in range"
	case NeverFits:
		return "none"
	}
	return "unknown"
}

// A Limit is the answer to an inverse question: the value of one input at which
// the required run just fits the run available.
type Limit struct {
	Outcome LimitOutcome
	Value   float64 // the limit when found, else the end of the range nearest to it
	At      Choice  // firing and roll at Value
}

// A LimitQuestion is what is held while one input is varied.
type LimitQuestion struct {
	Units      []booster.Unit
	Firing     Firing // held as given unless Replanned
	Replanned  bool   // fire anew at the nominal best for every value tried
	Search     FiringSearch
	Factor     float64 // required run = run x factor
	AvailableM float64
}

// The ranges and tolerances of the inverse questions.
const (
	LeastHeadwindMPS    = -10.0
	GreatestHeadwindMPS = 45.0
	headwindTolerMPS    = 1e-9
	massTolerKG         = 1e-6
	temperatureTolerC   = 1e-7
	greatestFriction    = 1.0
	frictionToler       = 1e-9
)

// choice is the firing asked for and what comes of it on a runner.
func (q *LimitQuestion) choice(r *Runner, s *booster.Schedule) Choice {
	if q.Replanned {
		return r.BestFiring(s, q.Units, q.Search).Choice
	}
	return r.choose(s, q.Units, q.Firing)
}

// spare is the run available less the required run, -Inf without lift-off.
func (q *LimitQuestion) spare(c Choice) float64 {
	return q.AvailableM - float64(q.Factor*q.Search.Measure.Of(c.Roll))
}

// limit is the one mechanism behind the inverse questions. at computes the
// take-off for a value; from easy to hard it gets worse.
func (q *LimitQuestion) limit(easy, hard, tolerance float64, at func(x float64) Choice) Limit {
	atEasy, atHard := at(easy), at(hard)
	switch low, high := q.spare(atEasy), q.spare(atHard); {
	case high >= 0:
		return Limit{Outcome: AlwaysFits, Value: hard, At: atHard}
	case !(low >= 0):
		return Limit{Outcome: NeverFits, Value: easy, At: atEasy}
	default:
		x := lastFit(func(x float64) float64 { return q.spare(at(x)) }, easy, hard, low, high, tolerance)
		return Limit{Outcome: LimitFound, Value: x, At: at(x)}
	}
}

// LeastHeadwind finds the least credited headwind in m/s with which the
// required run fits, from -10 to 45: AlwaysFits means no lower limit in range.
// The schedule is scratch memory; r itself is not changed.
func (r *Runner) LeastHeadwind(s *booster.Schedule, q LimitQuestion) Limit {
	varied := *r
	return q.limit(GreatestHeadwindMPS, LeastHeadwindMPS, headwindTolerMPS, func(x float64) Choice {
		varied.SetHeadwind(x)
		return q.choice(&varied, s)
	})
}

// MostMass finds the greatest gross mass in kg, without units, with which the
// required run fits, inside the mass band of the type.
func (r *Runner) MostMass(s *booster.Schedule, q LimitQuestion) Limit {
	varied := *r
	t := r.setting.Aircraft
	return q.limit(t.EmptyMassKG, t.MaxMassKG, massTolerKG, func(x float64) Choice {
		varied.SetGrossMass(x)
		return q.choice(&varied, s)
	})
}

// HottestAir finds the greatest air temperature in degrees Celsius with which
// the required run fits, pressure, relative humidity and grain temperatures
// held, over the whole range the model accepts.
func (r *Runner) HottestAir(s *booster.Schedule, q LimitQuestion) (Limit, error) {
	var varied Runner
	setting := r.setting
	if err := varied.Reset(setting); err != nil {
		return Limit{}, err
	}
	return q.limit(air.MinTemperatureC, air.MaxTemperatureC, temperatureTolerC, func(x float64) Choice {
		setting.Air.TemperatureC = x
		setting.Air.DensityKgM3 = air.DensityKgM3(setting.Air.PressurePa, x, setting.Air.RelativeHumidity)
		setting.Air.DensityAltitudeM = air.DensityAltitudeM(setting.Air.DensityKgM3)
		// Every density in the range is sound, as the first one was.
		_ = varied.Reset(setting)
		return q.choice(&varied, s)
	}), nil
}

// MostFriction finds the greatest rolling friction, from 0 to 1, with which the
// required run fits.
func (r *Runner) MostFriction(s *booster.Schedule, q LimitQuestion) Limit {
	varied := *r
	return q.limit(0, greatestFriction, frictionToler, func(x float64) Choice {
		varied.SetRollingFriction(x)
		return q.choice(&varied, s)
	})
}

// LeastRun is the required run in metres: what must be available. ok is false
// without lift-off.
func (r *Runner) LeastRun(s *booster.Schedule, q LimitQuestion) (requiredM float64, at Choice, ok bool) {
	at = q.choice(r, s)
	requiredM = q.Factor * q.Search.Measure.Of(at.Roll)
	if math.IsInf(requiredM, 1) {
		return 0, at, false
	}
	return requiredM, at, true
}

// LeastUnits finds the first of several fits, given in order of the units they
// take, whose required run fits; index is -1 when none does. Units and drag are
// those of each fit in turn.
func (r *Runner) LeastUnits(s *booster.Schedule, q LimitQuestion, fits [][]booster.Unit) (index int, at Choice, err error) {
	setting := r.setting
	var varied Runner
	for i, units := range fits {
		setting.Units = units
		if err := varied.Reset(setting); err != nil {
			return -1, Choice{}, err
		}
		q.Units = units
		if at = q.choice(&varied, s); q.spare(at) >= 0 {
			return i, at, nil
		}
	}
	return -1, at, nil
}
