package booster_test

import (
	"encoding/binary"
	"math"
	"testing"

	"bowroll/perf/booster"
	"bowroll/testdata/mutate"
)

// FuzzTrace makes a thrust trace of any bytes: numbers of four bytes, times and
// thrusts in turn. A trace that is taken has finite thrust, never below zero, at
// every time and grain temperature, and a unit of it weighs what it may.
func FuzzTrace(f *testing.F) {
	trace := func(numbers ...float32) {
		var text []byte
		for _, n := range numbers {
			text = binary.LittleEndian.AppendUint32(text, math.Float32bits(n))
		}
		f.Add(text, 20.0)
	}
	trace(0, 0, 0.1, 9000, 4, 8000, 4.2, 0)
	trace(0, 1, 1, 1, 1, 2, 2, 2)
	trace(0, 0, 0, 0)
	trace(1, 1, 0, 1)
	trace(0, float32(math.NaN()), 1, float32(math.Inf(1)))
	trace(5, 1, 5.0000005, 1e6)
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text []byte, grainC float64) {
		if !(grainC >= -60 && grainC <= 80) || len(text) > 1600 {
			return // no request has it
		}
		unit := *trapezoid()
		unit.TraceS, unit.TraceN = nil, nil
		for ; len(text) >= 8; text = text[8:] {
			s := float64(math.Float32frombits(binary.LittleEndian.Uint32(text)))
			n := float64(math.Float32frombits(binary.LittleEndian.Uint32(text[4:])))
			if s > 120 || n > 1e6 {
				return
			}
			unit.TraceS, unit.TraceN = append(unit.TraceS, s), append(unit.TraceN, n)
		}
		if unit.Validate() != nil {
			return
		}
		impulse := unit.ImpulseNS()
		if !(impulse >= 0) || math.IsInf(impulse, 0) {
			t.Fatalf("impulse %v of %v, %v", impulse, unit.TraceS, unit.TraceN)
		}
		for i := range unit.TraceS {
			at := unit.TraceS[i] / unit.Rate(grainC)
			for _, since := range []float64{at, math.Nextafter(at, 0), math.Nextafter(at, 1000)} {
				if thrust := unit.ThrustN(since, grainC); !(thrust >= 0) || math.IsInf(thrust, 0) {
					t.Fatalf("%v N after %v s of %v, %v", thrust, since, unit.TraceS, unit.TraceN)
				}
			}
		}
		var s booster.Schedule
		s.Build([]booster.Unit{{Type: &unit, GrainTemperatureC: grainC}}, 0)
		last := s.LastThrustS()
		for _, at := range []float64{0, s.FirstThrustS(), last / 2, last, last + 1} {
			forward, upward := s.ForceN(at)
			if mass := s.MassKG(at); math.IsNaN(forward) || math.IsNaN(upward) || !(mass >= 0) || mass > unit.LoadedMassKG*(1+1e-9) {
				t.Fatalf("%v N, %v N, %v kg at %v s of %v, %v", forward, upward, mass, at, unit.TraceS, unit.TraceN)
			}
		}
	})
}
