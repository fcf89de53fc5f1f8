package quantity

import (
	"math/big"
	"strings"
)

// A unit is one way to measure a dimension: value on the wire = (number +
// offset) x factor.
type unit struct {
	dimension Dimension
	// names are the ways to write it; the first is the one shown.
	names []string
	// factor is an exact product of decimals, "a * b / c", from the definition.
	factor string
	// offset is an exact decimal added to the number first; only temperatures
	// have one.
	offset string
}

// units lists every unit that is read.
//
// Exact by definition: the pound 0.45359237 kg, the yard 0.9144 m and so the
// foot 0.3048 m and the inch 0.0254 m (international yard and pound agreement,
// 1959); the nautical mile 1852 m (Monaco conference, 1929) and the knot one
// an hour; standard gravity 9.80665 m/s2 (3rd CGPM, 1901), so the pound-force
// and kilogram-force; the millimetre of mercury 13.5951 x 9.80665 Pa and the
// inch of mercury 25.4 of them (conventional mercury, ISO 80000-4); the
// horsepower 550 ft lbf/s and the metric horsepower 75 kgf m/s; the degree
// Fahrenheit (t - 32) x 5/9 degC; 0 degC = 273.15 K (BIPM SI brochure, 9th ed.).
// The radian carries 180/pi to 40 digits.
func units() []unit {
	return []unit{
		{Mass, []string{"kg"}, "1", ""},
		{Mass, []string{"g"}, "0.001", ""},
		{Mass, []string{"t", "tonne", "tonnes"}, "1000", ""},
		{Mass, []string{"lb", "lbs", "lbm"}, "0.45359237", ""},

		{Length, []string{"m"}, "1", ""},
		{Length, []string{"ft"}, "0.3048", ""},
		{Length, []string{"km"}, "1000", ""},
		{Length, []string{"cm"}, "0.01", ""},
		{Length, []string{"mm"}, "0.001", ""},
		{Length, []string{"in"}, "0.0254", ""},
		{Length, []string{"yd"}, "0.9144", ""},
		{Length, []string{"NM", "nmi"}, "1852", ""},

		{Area, []string{"m2", "m^2", "m²"}, "1", ""},
		{Area, []string{"ft2", "ft^2", "ft²"}, "0.3048 * 0.3048", ""},
		{Area, []string{"cm2", "cm^2", "cm²"}, "0.0001", ""},
		{Area, []string{"in2", "in^2", "in²"}, "0.0254 * 0.0254", ""},

		{Speed, []string{"m/s"}, "1", ""},
		{Speed, []string{"kt", "kts", "kn"}, "1852 / 3600", ""},
		{Speed, []string{"km/h"}, "1000 / 3600", ""},
		{Speed, []string{"mph"}, "1609.344 / 3600", ""},
		{Speed, []string{"ft/s"}, "0.3048", ""},
		{Speed, []string{"ft/min"}, "0.3048 / 60", ""},

		{Temperature, []string{"degC", "°C", "C"}, "1", ""},
		{Temperature, []string{"degF", "°F", "F"}, "5 / 9", "-32"},
		{Temperature, []string{"K"}, "1", "-273.15"},

		{TemperatureDifference, []string{"K"}, "1", ""},
		{TemperatureDifference, []string{"degC", "°C", "C"}, "1", ""},
		{TemperatureDifference, []string{"degF", "°F", "F"}, "5 / 9", ""},

		{Pressure, []string{"Pa"}, "1", ""},
		{Pressure, []string{"hPa"}, "100", ""},
		{Pressure, []string{"kPa"}, "1000", ""},
		{Pressure, []string{"MPa"}, "1000000", ""},
		{Pressure, []string{"mbar", "mb"}, "100", ""},
		{Pressure, []string{"bar"}, "100000", ""},
		{Pressure, []string{"inHg"}, "25.4 * 13.5951 * 9.80665", ""},
		{Pressure, []string{"mmHg"}, "13.5951 * 9.80665", ""},
		{Pressure, []string{"psi", "lbf/in2"}, "0.45359237 * 9.80665 / 0.0254 / 0.0254", ""},

		{Force, []string{"N"}, "1", ""},
		{Force, []string{"kN"}, "1000", ""},
		{Force, []string{"lbf"}, "0.45359237 * 9.80665", ""},
		{Force, []string{"kgf"}, "9.80665", ""},

		{Power, []string{"W"}, "1", ""},
		{Power, []string{"kW"}, "1000", ""},
		{Power, []string{"MW"}, "1000000", ""},
		{Power, []string{"hp"}, "550 * 0.3048 * 0.45359237 * 9.80665", ""},
		{Power, []string{"PS"}, "75 * 9.80665", ""},

		{Angle, []string{"deg", "°"}, "1", ""},
		{Angle, []string{"rad"}, "57.29577951308232087679815481410517033240547", ""},
		{Angle, []string{"mrad"}, "57.29577951308232087679815481410517033240547 / 1000", ""},

		{Time, []string{"s", "sec"}, "1", ""},
		{Time, []string{"ms"}, "0.001", ""},
		{Time, []string{"min"}, "60", ""},
		{Time, []string{"h", "hr"}, "3600", ""},
		{Time, []string{"d"}, "86400", ""},

		{Ratio, []string{"1", ""}, "1", ""},
		{Ratio, []string{"%", "percent"}, "0.01", ""},

		{PerKelvin, []string{"1/K", "/K", "K^-1", "1/degC", "/degC", "1/°C", "/°C"}, "1", ""},
		{PerKelvin, []string{"1/degF", "/degF", "1/°F", "/°F"}, "9 / 5", ""},
		{PerKelvin, []string{"%/K", "%/degC", "%/°C"}, "0.01", ""},
		{PerKelvin, []string{"%/degF", "%/°F"}, "0.01 * 9 / 5", ""},

		{Voltage, []string{"V"}, "1", ""},
		{Voltage, []string{"mV"}, "0.001", ""},
		{Voltage, []string{"kV"}, "1000", ""},

		// Both the Greek letter and the ohm sign are met in files.
		{Resistance, []string{"ohm", "ohms", "\u03a9", "\u2126"}, "1", ""},
		{Resistance, []string{"mohm", "m\u03a9", "m\u2126"}, "0.001", ""},
		{Resistance, []string{"kohm", "k\u03a9", "k\u2126"}, "1000", ""},

		{Current, []string{"A"}, "1", ""},
		{Current, []string{"mA"}, "0.001", ""},

		{TurnRate, []string{"deg/s"}, "1", ""},
		{TurnRate, []string{"deg/min"}, "1 / 60", ""},
	}
}

// catalogue is the table above, made once and never changed.
var catalogue = units()

// find gives the unit of dimension d written as name.
func find(d Dimension, name string) (unit, bool) {
	for _, u := range catalogue {
		if u.dimension == d && u.has(name) {
			return u, true
		}
	}
	return unit{}, false
}

// measured lists the dimensions that name is a unit of.
func measured(name string) []Dimension {
	var found []Dimension
	for _, u := range catalogue {
		if u.has(name) {
			found = append(found, u.dimension)
		}
	}
	return found
}

// sameButCase gives the unit name of dimension d that differs from name in
// case only, or "".
func sameButCase(d Dimension, name string) string {
	for _, u := range catalogue {
		if u.dimension != d {
			continue
		}
		for _, known := range u.names {
			if strings.EqualFold(known, name) {
				return known
			}
		}
	}
	return ""
}

// Units lists the units of d that are read, each by its shown name.
func (d Dimension) Units() []string {
	var shown []string
	for _, u := range catalogue {
		if u.dimension == d {
			shown = append(shown, u.names[0])
		}
	}
	return shown
}

func (u unit) has(name string) bool {
	for _, known := range u.names {
		if known == name {
			return true
		}
	}
	return false
}

// toWire turns an exact number of u into the exact value on the wire.
func (u unit) toWire(number *big.Rat) *big.Rat {
	value := new(big.Rat).Set(number)
	if u.offset != "" {
		value.Add(value, exact(u.offset))
	}
	return value.Mul(value, u.scale())
}

// fromWire turns an exact value on the wire into the exact number of u.
func (u unit) fromWire(value *big.Rat) *big.Rat {
	number := new(big.Rat).Quo(value, u.scale())
	if u.offset != "" {
		number.Sub(number, exact(u.offset))
	}
	return number
}

// scale is the factor as an exact number.
func (u unit) scale() *big.Rat {
	words := strings.Fields(u.factor)
	product := exact(words[0])
	for i := 1; i+1 < len(words); i += 2 {
		term := exact(words[i+1])
		if words[i] == "/" {
			product.Quo(product, term)
		} else {
			product.Mul(product, term)
		}
	}
	return product
}

// exact reads a decimal of the table above; a test reads every one of them.
func exact(decimal string) *big.Rat {
	number, ok := new(big.Rat).SetString(decimal)
	if !ok {
		return new(big.Rat)
	}
	return number
}
