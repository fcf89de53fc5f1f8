// Package air gives the air an aircraft rolls through: pressure, density,
// pressure altitude and density altitude from what a ship can measure.
//
// The rules are the standard atmosphere (ICAO Doc 7488; US Standard Atmosphere
// 1976) and humid air after Buck. Everything is SI except temperatures, which
// are in degrees Celsius where a name ends in C.
package air

import (
	"strings"

	"bowroll/perf/violation"
)

// The ranges accepted by [At]. Each holds for the value as it was given; a
// pressure altitude that follows from elevation and QNH is held to its range
// too.
const (
	MinTemperatureC      = -80.0
	MaxTemperatureC      = 60.0
	MinPressurePa        = 50000.0
	MaxPressurePa        = 110000.0
	MinPressureAltitudeM = -600.0
	MaxPressureAltitudeM = 6000.0
)

// Conditions is the air as it was observed. Temperature is required, and
// exactly one way of giving the pressure: the station pressure, the pressure
// altitude, or elevation and QNH together. Absent humidity means dry air. A nil
// pointer is absent; absent is never zero.
type Conditions struct {
	PressurePa        *float64 // at the station
	PressureAltitudeM *float64
	ElevationM        *float64
	QNHPa             *float64
	TemperatureC      *float64
	RelativeHumidity  *float64 // 0 to 1
}

// Air is the state of the air that the rest of the model needs.
type Air struct {
	DensityKgM3       float64
	PressurePa        float64
	TemperatureC      float64
	RelativeHumidity  float64
	PressureAltitudeM float64
	DensityAltitudeM  float64
}

// At works out the air from what was observed. The error, if any, is a
// [violation.List] with every fault found.
func At(c Conditions) (Air, error) {
	var faults violation.List
	var a Air

	switch {
	case c.TemperatureC == nil:
		faults.Absent("temperature_c", "given", "state the outside air temperature")
	default:
		a.TemperatureC = *c.TemperatureC
		faults.Range("temperature_c", a.TemperatureC, MinTemperatureC, MaxTemperatureC, "degrees Celsius")
	}
	if c.RelativeHumidity != nil {
		a.RelativeHumidity = *c.RelativeHumidity
		faults.Range("relative_humidity", a.RelativeHumidity, 0, 1, "a fraction, not per cent")
	}
	c.pressure(&a, &faults)
	if err := faults.Err(); err != nil {
		return Air{}, err
	}

	a.DensityKgM3 = DensityKgM3(a.PressurePa, a.TemperatureC, a.RelativeHumidity)
	a.DensityAltitudeM = DensityAltitudeM(a.DensityKgM3)
	return a, nil
}

// pressure fills in pressure and pressure altitude by the one way given.
func (c Conditions) pressure(a *Air, faults *violation.List) {
	var given []string
	if c.PressurePa != nil {
		given = append(given, "pressure_pa")
	}
	if c.PressureAltitudeM != nil {
		given = append(given, "pressure_altitude_m")
	}
	if c.ElevationM != nil || c.QNHPa != nil {
		given = append(given, "elevation_m and qnh_pa")
	}
	const ways = "exactly one of pressure_pa, pressure_altitude_m, or elevation_m with qnh_pa"
	switch {
	case len(given) == 0:
		faults.Absent("pressure_pa", ways, "state the pressure in one of these ways")
	case len(given) > 1:
		faults.Add(given[0], "given beside "+strings.Join(given[1:], " and "), ways, "keep the one that was measured")
	}

	if c.PressurePa != nil && faults.Range("pressure_pa", *c.PressurePa, MinPressurePa, MaxPressurePa, "pascals at the station") {
		a.PressurePa = *c.PressurePa
		a.PressureAltitudeM = PressureAltitudeM(a.PressurePa)
	}
	if c.PressureAltitudeM != nil && faults.Range("pressure_altitude_m", *c.PressureAltitudeM,
		MinPressureAltitudeM, MaxPressureAltitudeM, "metres") {
		a.PressureAltitudeM = *c.PressureAltitudeM
		a.PressurePa = StandardPressurePa(a.PressureAltitudeM)
	}
	c.altimetry(a, faults)
}

// altimetry fills in the pressure from elevation and QNH, both or neither.
func (c Conditions) altimetry(a *Air, faults *violation.List) {
	if c.ElevationM == nil && c.QNHPa == nil {
		return
	}
	if c.ElevationM == nil {
		faults.Absent("elevation_m", "given with qnh_pa", "0 for a deck near the water")
		return
	}
	if c.QNHPa == nil {
		faults.Absent("qnh_pa", "given with elevation_m", "state the altimeter setting")
		return
	}
	finite := faults.Finite("elevation_m", *c.ElevationM, "metres above mean sea level")
	if !faults.Range("qnh_pa", *c.QNHPa, MinPressurePa, MaxPressurePa, "pascals reduced to mean sea level") || !finite {
		return
	}
	altitude := FieldPressureAltitudeM(*c.ElevationM, *c.QNHPa)
	if altitude >= MinPressureAltitudeM && altitude <= MaxPressureAltitudeM {
		a.PressureAltitudeM = altitude
		a.PressurePa = StandardPressurePa(altitude)
		return
	}
	faults.Add("elevation_m", violation.Number(*c.ElevationM),
		"such that the pressure altitude is from -600 to 6000",
		"with this qnh_pa it is "+violation.Number(altitude)+" m")
}
