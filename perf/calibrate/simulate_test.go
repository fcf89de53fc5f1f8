package calibrate_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/calibrate"
	"bowroll/perf/takeoff"
)

// world is what really holds in a simulated squadron: how far its type, its
// aircraft, decks and lots are from the data.
type world struct {
	thrust, friction, drag float64
	tails, decks, lots     map[string]float64
}

// gull is an invented type.
func gull() *aircraft.Type {
	return &aircraft.Type{
		WingAreaM2: 34, SpanM: 15.5, Oswald: 0.78, WingHeightM: 1.6,
		Flaps:         []aircraft.Flap{{Name: "takeoff", CLMax: 1.9, CLRoll: 0.5, CD0: 0.085}},
		Thrust:        aircraft.ThrustTable{AirspeedMPS: []float64{0, 20, 40, 60, 90}, ThrustN: []float64{17500, 15300, 13000, 10900, 8200}, DensityExponent: 0.8},
		LiftoffFactor: 1.1, RotationTimeS: 1.5, EmptyMassKG: 4200, MaxMassKG: 7200,
	}
}

// ember is an invented unit.
func ember() *booster.Type {
	return &booster.Type{
		TraceS: []float64{0, 0.2, 5.8, 6.2}, TraceN: []float64{0, 4600, 4200, 0}, ReferenceTemperatureC: 15, PressureSensitivityPerK: 0.0018,
		LoadedMassKG: 62, PropellantMassKG: 24, IgnitionDelayS: 0.15, CantDeg: 8, SplayDeg: 4, DragAreaM2: 0.03,
	}
}

// draw makes a world from the priors of a fit.
func draw(rng *rand.Rand, s calibrate.Settings, tails, decks, lots int) world {
	w := world{
		thrust: s.Thrust * rng.NormFloat64(), friction: s.RollingFriction * rng.NormFloat64(), drag: s.Drag * rng.NormFloat64(),
		tails: map[string]float64{}, decks: map[string]float64{}, lots: map[string]float64{},
	}
	for i := range tails {
		w.tails[fmt.Sprintf("tail-%02d", i)] = s.TailThrust * rng.NormFloat64()
	}
	for i := range decks {
		w.decks[fmt.Sprintf("deck-%d", i)] = s.DeckFriction * rng.NormFloat64()
	}
	for i := range lots {
		w.lots[fmt.Sprintf("lot-%d", i)] = s.LotThrust * rng.NormFloat64()
	}
	return w
}

// fly makes n runs of a world: what the model gives with its errors and with
// those of wind, mass, firing, technique and instruments as stated. A part of
// gross of them is grossly wrong in one way or another; which is told.
func (w world) fly(rng *rand.Rand, n int, gross float64) (runs []calibrate.Run, wrong map[string]bool) {
	kind, unit := gull(), ember()
	wrong = map[string]bool{}
	for i := range n {
		r := calibrate.Run{
			ID: fmt.Sprintf("run-%04d", i), Tail: fmt.Sprintf("tail-%02d", rng.IntN(len(w.tails))), Deck: fmt.Sprintf("deck-%d", rng.IntN(len(w.decks))),
		}
		temperature := 5 + 25*rng.Float64()
		pressure := 101325.0
		day, err := air.At(air.Conditions{PressurePa: &pressure, TemperatureC: &temperature})
		if err != nil {
			panic(err)
		}
		mass := 4900 + 2000*rng.Float64()
		r.Sigma = calibrate.DefaultSigma(mass)
		r.Setting = takeoff.Setting{
			Aircraft: kind, GrossMassKG: mass, Air: day, HeadwindMPS: 14 * rng.Float64(),
			Surface: takeoff.Surface{RollingFriction: []float64{0.03, 0.06}[i%2], BrakingFriction: 0.4},
		}
		if fit := rng.IntN(3); fit > 0 {
			r.Lot = fmt.Sprintf("lot-%d", rng.IntN(len(w.lots)))
			for range 2 * fit {
				r.Setting.Units = append(r.Setting.Units, booster.Unit{Type: unit, GrainTemperatureC: 15})
			}
			r.Firing = takeoff.Firing{Mode: takeoff.Rolling, DelayS: 2 * rng.Float64()}
		}
		if !w.observe(rng, &r) {
			continue
		}
		if rng.Float64() < gross {
			wrong[r.ID] = true
			spoil(rng, &r)
		}
		runs = append(runs, r)
	}
	return runs, wrong
}

// observe fills in what is measured of a run.
func (w world) observe(rng *rand.Rand, r *calibrate.Run) bool {
	s := r.Setting
	truth := aircraft.Correction{
		Thrust: 1 + w.thrust + w.tails[r.Tail], RollingFriction: max(0.05, 1+w.friction+w.decks[r.Deck]), Drag: 1 + w.drag,
	}
	technique := 1 + calibrate.TechniqueSigma*rng.NormFloat64()
	s.Aircraft = truth.Apply(s.Aircraft)
	s.Aircraft.LiftoffFactor *= technique
	s.Surface.RollingFriction *= truth.RollingFriction
	s.HeadwindMPS += r.Sigma.HeadwindMPS * rng.NormFloat64()
	s.GrossMassKG += r.Sigma.MassKG * rng.NormFloat64()
	s.Units = append([]booster.Unit(nil), s.Units...)
	for i := range s.Units {
		s.Units[i].ThrustDeviation = w.lots[r.Lot]
	}
	firing := r.Firing
	firing.DelayS = max(0, firing.DelayS+r.Sigma.FiringS*rng.NormFloat64())
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		panic(err)
	}
	var schedule booster.Schedule
	firing.Schedule(&schedule, s.Units)
	roll := runner.Roll(&schedule)
	if !roll.LiftsOff {
		return false
	}
	distance := roll.DistanceM + r.Sigma.DistanceM*rng.NormFloat64()
	time := roll.TimeS + r.Sigma.TimeS*rng.NormFloat64()
	speed := roll.AirspeedMPS + r.Sigma.AirspeedMPS*rng.NormFloat64()
	r.DistanceM, r.TimeS, r.AirspeedMPS = &distance, &time, &speed
	return true
}

// spoil makes a run grossly wrong: a mark misread, a stopwatch started late, a
// wind of another hour.
func spoil(rng *rand.Rand, r *calibrate.Run) {
	factor := 1.3 + 0.6*rng.Float64()
	if rng.IntN(2) == 0 {
		factor = 1 / factor
	}
	switch rng.IntN(3) {
	case 0:
		*r.DistanceM *= factor
	case 1:
		*r.TimeS *= factor
	case 2:
		r.Setting.HeadwindMPS += 8 * math.Copysign(1, factor-1)
	}
}
