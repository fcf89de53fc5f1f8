package air

import "bowroll/perf/elementary"

// SaturationPressurePa is the vapour pressure of saturated air over water at a
// temperature in degrees Celsius, in pascals:
//
//	es = 611.21 exp((18.678 - t/234.5) t/(257.14 + t))
//
// the 1996 form of Buck (1981), New equations for computing vapor pressure and
// enhancement factor, J. Appl. Meteorol. 20, used over water at all
// temperatures.
func SaturationPressurePa(temperatureC float64) float64 {
	return 611.21 * elementary.Exp((18.678-temperatureC/234.5)*(temperatureC/(257.14+temperatureC)))
}

// DensityKgM3 is the density of air at a pressure in pascals, a temperature in
// degrees Celsius and a relative humidity from 0 (dry) to 1:
//
//	rho = (p - e)/(R T) + e/(Rv T),  e = RH es(t)
func DensityKgM3(pressurePa, temperatureC, relativeHumidity float64) float64 {
	kelvin := temperatureC + ZeroCelsiusKelvin
	vapour := float64(relativeHumidity * SaturationPressurePa(temperatureC))
	return (pressurePa-vapour)/(GasConstant*kelvin) + vapour/(VapourGasConstant*kelvin)
}
