package air

import "bowroll/perf/elementary"

// The constants of the standard atmosphere (ICAO Doc 7488; US Standard
// Atmosphere 1976), in SI. Altitudes are geopotential.
const (
	GravityMPS2         = 9.80665   // g0
	GasConstant         = 287.05287 // R of dry air, J/(kg K)
	VapourGasConstant   = 461.495   // R of water vapour, J/(kg K)
	SeaLevelKelvin      = 288.15
	SeaLevelPressurePa  = 101325.0
	ZeroCelsiusKelvin   = 273.15
	LapseKPerM          = 0.0065
	TropopauseM         = 11000.0
	TropopauseKelvin    = SeaLevelKelvin - LapseKPerM*TropopauseM
	SeaLevelDensityKgM3 = SeaLevelPressurePa / (GasConstant * SeaLevelKelvin)

	// pressureExponent is g0/(R lapse), the power of theta in the gradient layer.
	pressureExponent = GravityMPS2 / (GasConstant * LapseKPerM)
)

// StandardTemperatureK is the standard temperature at a pressure altitude in
// metres: the lapse to 11 000 m, constant from there to 20 000 m.
func StandardTemperatureK(altitudeM float64) float64 {
	if altitudeM >= TropopauseM {
		return TropopauseKelvin
	}
	return SeaLevelKelvin - float64(LapseKPerM*altitudeM)
}

// StandardPressurePa is the standard pressure at a pressure altitude in metres.
func StandardPressurePa(altitudeM float64) float64 {
	if altitudeM <= TropopauseM {
		return SeaLevelPressurePa * elementary.Pow(StandardTemperatureK(altitudeM)/SeaLevelKelvin, pressureExponent)
	}
	return StandardPressurePa(TropopauseM) *
		elementary.Exp(-GravityMPS2*(altitudeM-TropopauseM)/(GasConstant*TropopauseKelvin))
}

// StandardDensityKgM3 is the standard density at a pressure altitude in metres.
func StandardDensityKgM3(altitudeM float64) float64 {
	return StandardPressurePa(altitudeM) / (GasConstant * StandardTemperatureK(altitudeM))
}

// PressureAltitudeM is the altitude in metres at which the standard atmosphere
// has this pressure: the inverse of [StandardPressurePa].
func PressureAltitudeM(pressurePa float64) float64 {
	tropopause := StandardPressurePa(TropopauseM)
	if pressurePa >= tropopause {
		return SeaLevelKelvin / LapseKPerM * (1 - elementary.Pow(pressurePa/SeaLevelPressurePa, 1/pressureExponent))
	}
	return TropopauseM - float64(GasConstant*TropopauseKelvin/GravityMPS2*elementary.Log(pressurePa/tropopause))
}

// DensityAltitudeM is the altitude in metres at which the standard atmosphere
// has this density: the inverse of [StandardDensityKgM3].
func DensityAltitudeM(densityKgM3 float64) float64 {
	tropopause := StandardDensityKgM3(TropopauseM)
	if densityKgM3 >= tropopause {
		ratio := densityKgM3 / SeaLevelDensityKgM3
		return SeaLevelKelvin / LapseKPerM * (1 - elementary.Pow(ratio, 1/(pressureExponent-1)))
	}
	return TropopauseM - float64(GasConstant*TropopauseKelvin/GravityMPS2*elementary.Log(densityKgM3/tropopause))
}

// FieldPressureAltitudeM is the pressure altitude in metres of a field from its
// elevation and the altimeter setting (QNH): the elevation plus
// (T0/lapse)(1 - (QNH/p0)^(R lapse/g0)).
func FieldPressureAltitudeM(elevationM, qnhPa float64) float64 {
	return elevationM + float64(SeaLevelKelvin/LapseKPerM*(1-elementary.Pow(qnhPa/SeaLevelPressurePa, 1/pressureExponent)))
}
