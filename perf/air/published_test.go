package air_test

import (
	"errors"
	"math"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/violation"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g within %.1g relative", what, got, want, relative)
	}
}

// Source: computed from the defining constants of ICAO Doc 7488 and the US
// Standard Atmosphere 1976.
func TestStandardAtmosphere(t *testing.T) {
	for _, row := range []struct{ altitude, pressure, density float64 }{
		{-500, 107477.507, 1.284890},
		{0, 101325, 1.224999},
		{250, 98357.536, 1.195867},
		{500, 95460.839, 1.167268},
		{1000, 89874.571, 1.111642},
		{1500, 84556.005, 1.058067},
		{2000, 79495.216, 1.006490},
		{3000, 70108.545, 0.909121},
		{4000, 61640.235, 0.819129},
		{5000, 54019.912, 0.736115},
		{6000, 47181.028, 0.659697},
		{8000, 35599.811, 0.525167},
		{10000, 26436.268, 0.412706},
		{11000, 22632.064, 0.363918},
		{304.8, 97716.570, 1.189553},
		{1524, 84307.275, 1.055546},
		{3048, 69681.660, 0.904637},
	} {
		near(t, "pressure", air.StandardPressurePa(row.altitude), row.pressure, 1e-5)
		near(t, "density", air.StandardDensityKgM3(row.altitude), row.density, 1e-5)
		if back := air.PressureAltitudeM(air.StandardPressurePa(row.altitude)); math.Abs(back-row.altitude) > 1e-6 {
			t.Errorf("pressure altitude: got %g, want %g", back, row.altitude)
		}
		if back := air.DensityAltitudeM(air.StandardDensityKgM3(row.altitude)); math.Abs(back-row.altitude) > 1e-6 {
			t.Errorf("density altitude: got %g, want %g", back, row.altitude)
		}
	}
	// ICAO Doc 7488, at 11 000 m, as printed.
	near(t, "pressure at 11 000 m", air.StandardPressurePa(11000), 22632.1, 1e-5)
	// Isothermal from there to 20 000 m: the hydrostatic closed form.
	near(t, "pressure at 20 000 m", air.StandardPressurePa(20000),
		air.StandardPressurePa(11000)*math.Exp(-9.80665*9000/(287.05287*216.65)), 1e-12)
	near(t, "altitude at 20 000 m", air.PressureAltitudeM(air.StandardPressurePa(20000)), 20000, 1e-12)
}

// Source: 14 CFR 25.101(b)(2), density relative to the sea-level standard in air of
// standard temperature at 80 % relative humidity.
func TestHumidDensityRatio(t *testing.T) {
	feet := []float64{0, 1000, 2000, 3000, 4000, 5000, 6000, 8000, 10000}
	ratios := []float64{.99508, .96672, .93895, .91178, .88514, .85910, .83361, .78434, .73722}
	for i, ft := range feet {
		altitude := ft * 0.3048
		kelvin := air.StandardTemperatureK(altitude)
		rho := air.DensityKgM3(air.StandardPressurePa(altitude), kelvin-air.ZeroCelsiusKelvin, 0.8)
		if got := rho / air.SeaLevelDensityKgM3; math.Abs(got-ratios[i]) > 2e-4 {
			t.Errorf("%g ft: got %.5f, want %.5f", ft, got, ratios[i])
		}
	}
}

// Source: FAA Pilot's Handbook of Aeronautical Knowledge, chapter 10.
func TestAltimetry(t *testing.T) {
	const foot, inchHg = 0.3048, 3386.389
	for _, row := range []struct{ elevation, setting, want float64 }{
		{5883, 30.10, 5718},
		{0, 29.70, 205},
	} {
		a, err := air.At(air.Conditions{
			ElevationM: new(row.elevation * foot), QNHPa: new(row.setting * inchHg), TemperatureC: new(15.0),
		})
		if err != nil {
			t.Fatal(err)
		}
		if got := a.PressureAltitudeM / foot; math.Abs(got-row.want) > 1 {
			t.Errorf("%g ft, %g inHg: pressure altitude %.1f ft, want %g", row.elevation, row.setting, got, row.want)
		}
	}
	a, err := air.At(air.Conditions{PressureAltitudeM: new(5718 * foot), TemperatureC: new((70.0 - 32) / 1.8)})
	if err != nil {
		t.Fatal(err)
	}
	if got := a.DensityAltitudeM / foot; math.Abs(got-7710) > 5 {
		t.Errorf("density altitude %.1f ft, want 7710", got)
	}
}

// The same air by each way of giving the pressure.
func TestWaysOfGivingPressureAgree(t *testing.T) {
	direct, err := air.At(air.Conditions{PressurePa: new(95000.0), TemperatureC: new(30.0), RelativeHumidity: new(0.5)})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]air.Conditions{
		"pressure altitude": {PressureAltitudeM: new(direct.PressureAltitudeM)},
		"elevation and QNH": {ElevationM: new(direct.PressureAltitudeM), QNHPa: new(air.SeaLevelPressurePa)},
	} {
		c.TemperatureC, c.RelativeHumidity = new(30.0), new(0.5)
		got, err := air.At(c)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		near(t, name, got.DensityKgM3, direct.DensityKgM3, 1e-12)
	}
}

func TestEveryFaultAtOnce(t *testing.T) {
	for _, row := range []struct {
		name   string
		c      air.Conditions
		fields []string
	}{
		{"nothing", air.Conditions{}, []string{"temperature_c", "pressure_pa"}},
		{"all out of range", air.Conditions{
			PressurePa: new(10.0), TemperatureC: new(math.NaN()), RelativeHumidity: new(70.0),
		}, []string{"temperature_c", "relative_humidity", "pressure_pa"}},
		{"two pressures", air.Conditions{
			PressurePa: new(101325.0), PressureAltitudeM: new(0.0), TemperatureC: new(15.0),
		}, []string{"pressure_pa"}},
		{"elevation alone", air.Conditions{ElevationM: new(0.0), TemperatureC: new(15.0)}, []string{"qnh_pa"}},
		{"too high", air.Conditions{ElevationM: new(7000.0), QNHPa: new(101325.0), TemperatureC: new(-30.0)},
			[]string{"elevation_m"}},
		{"infinite", air.Conditions{PressureAltitudeM: new(math.Inf(1)), TemperatureC: new(math.Inf(-1))},
			[]string{"temperature_c", "pressure_altitude_m"}},
	} {
		_, err := air.At(row.c)
		var list violation.List
		if !errors.As(err, &list) {
			t.Errorf("%s: error %v, want a list of violations", row.name, err)
			continue
		}
		var fields []string
		for _, v := range list {
			fields = append(fields, v.Field)
		}
		if len(fields) != len(row.fields) {
			t.Errorf("%s: fields %q, want %q", row.name, fields, row.fields)
			continue
		}
		for i := range fields {
			if fields[i] != row.fields[i] {
				t.Errorf("%s: fields %q, want %q", row.name, fields, row.fields)
				break
			}
		}
	}
}
