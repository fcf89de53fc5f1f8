package takeoff_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/takeoff"
	"bowroll/perf/violation"
)

func spent() takeoff.Drop {
	return takeoff.Drop{
		HeightM: 120, Above: takeoff.AboveSea, AirspeedMPS: 55, ClimbAngleDeg: 4,
		HeadwindMPS: 12, CrosswindMPS: 3, DensityKgM3: 1.2,
		EmptyMassKG: 20, LoadedMassKG: 43, DragAreaLeastM2: 0.02, DragAreaMostM2: 0.09,
		Scatter: takeoff.Scatter{ReleaseS: 0.5, WindMPS: 1.5, Part: 0.08, Sigmas: 3},
	}
}

// Without drag the path is a parabola: t = (w + sqrt(w^2 + 2 g h))/g.
func TestFallWithoutDrag(t *testing.T) {
	for _, angle := range []float64{-10, 0, 4, 30} {
		d := spent()
		d.ClimbAngleDeg, d.HeadwindMPS, d.CrosswindMPS = angle, 0, 0
		f := d.Fall(false, 0)
		sine, cosine := math.Sincos(angle * math.Pi / 180)
		w := d.AirspeedMPS * sine
		end := math.Sqrt(w*w + 2*air.GravityMPS2*d.HeightM)
		timeS := (w + end) / air.GravityMPS2
		within(t, "time", f.TimeS, timeS, 1e-8*timeS)
		within(t, "distance", f.AlongM, d.AirspeedMPS*cosine*timeS, 1e-8*d.AirspeedMPS*timeS)
		within(t, "speed", f.SpeedMPS, math.Hypot(d.AirspeedMPS*cosine, end), 1e-7*end)
	}
}

// From rest the fall is v = vt tanh(g t/vt), h = vt^2/g ln cosh(g t/vt), with
// the terminal speed vt = sqrt(2 m g/(rho CdA)).
func TestFallFromRest(t *testing.T) {
	d := spent()
	d.AirspeedMPS, d.HeadwindMPS, d.CrosswindMPS = 0, 0, 0
	for _, height := range []float64{0.5, 20, 300, 3000} {
		d.HeightM = height
		for _, area := range []float64{0.02, 0.4} {
			f := d.Fall(true, area)
			terminal := math.Sqrt(2 * d.LoadedMassKG * air.GravityMPS2 / (d.DensityKgM3 * area))
			timeS := terminal / air.GravityMPS2 * math.Acosh(math.Exp(height*air.GravityMPS2/(terminal*terminal)))
			within(t, "time", f.TimeS, timeS, 1e-6*timeS)
			within(t, "speed", f.SpeedMPS, terminal*math.Tanh(air.GravityMPS2*timeS/terminal), 1e-6*terminal)
		}
	}
	d.HeightM = 3000
	f := d.Fall(false, 1)
	within(t, "terminal speed", f.SpeedMPS, math.Sqrt(2*d.EmptyMassKG*air.GravityMPS2/d.DensityKgM3), 1e-6)
	within(t, "angle", f.AngleDeg, 90, 1e-9)
}

// A steady wind carries everything with it: released at the same airspeed, the
// unit comes down earlier along the track by headwind times the time.
func TestFallInWind(t *testing.T) {
	d := spent()
	windy := d.Fall(false, 0.05)
	d.HeadwindMPS, d.CrosswindMPS = 0, 0
	calm := d.Fall(false, 0.05)
	within(t, "time", windy.TimeS, calm.TimeS, 0)
	within(t, "along", calm.AlongM-windy.AlongM, 12*calm.TimeS, 1e-9)
	within(t, "to port with wind from starboard", windy.AcrossM, -3*calm.TimeS, 1e-9)
}

// Whatever drag area in the range, empty or loaded, and whatever scatter within
// the sigmas asked for, a unit comes down in the zone, and within its times.
func TestDropZoneHoldsEveryFall(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	rounds := 2000
	if testing.Short() {
		rounds = 150
	}
	for range rounds {
		d := takeoff.Drop{
			HeightM: between(0, 600), Above: takeoff.AboveDeck, AirspeedMPS: between(20, 90), ClimbAngleDeg: between(-5, 15),
			HeadwindMPS: between(-5, 25), CrosswindMPS: between(-12, 12), DensityKgM3: between(0.8, 1.4),
			EmptyMassKG: between(5, 60), DragAreaLeastM2: between(0, 0.1),
			Scatter: takeoff.Scatter{ReleaseS: between(0, 1), WindMPS: between(0, 3), Part: between(0, 0.2), Sigmas: between(0, 3)},
		}
		d.LoadedMassKG = d.EmptyMassKG + between(0, 40)
		d.DragAreaMostM2 = d.DragAreaLeastM2 + between(0, 0.2)
		zone, err := d.Zone()
		if err != nil {
			t.Fatal(err)
		}
		f := d.Fall(rng.IntN(2) == 0, between(d.DragAreaLeastM2, d.DragAreaMostM2))
		if f.TimeS < zone.FirstS-1e-6 || f.TimeS > zone.ClearS+1e-6 {
			t.Fatalf("%+v: down after %g s, want %g to %g", d, f.TimeS, zone.FirstS, zone.ClearS)
		}
		// One point on the edge of the fall's own scatter, a hair inside it.
		turn := between(0, 2*math.Pi)
		air := f.AlongM + d.HeadwindMPS*f.TimeS
		drift := math.Hypot(d.Scatter.WindMPS*f.TimeS, d.Scatter.Part*air)
		ground := d.AirspeedMPS*math.Cos(d.ClimbAngleDeg*math.Pi/180) - d.HeadwindMPS
		along := f.AlongM + d.Scatter.Sigmas*math.Hypot(ground*d.Scatter.ReleaseS, drift)*math.Cos(turn)*(1-1e-6)
		across := f.AcrossM + d.Scatter.Sigmas*drift*math.Sin(turn)*(1-1e-6)
		if !zone.Contains(along, across) && d.HeightM > 0 {
			t.Fatalf("%+v\n%+v: %g m along, %g m across is outside", d, zone, along, across)
		}
	}
}

func TestDropNeedsItsDatum(t *testing.T) {
	d := spent()
	d.Above = takeoff.DatumUnstated
	d.DragAreaMostM2 = math.NaN()
	_, err := d.Zone()
	var list violation.List
	if !errors.As(err, &list) || len(list) != 2 || list[0].Field != "above" || list[1].Field != "drag_area_most_m2" {
		t.Errorf("got %v", err)
	}
}
