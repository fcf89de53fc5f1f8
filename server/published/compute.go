package published

import (
	"errors"
	"fmt"
	"math"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/quantity"
	"bowroll/perf/wind"
)

// result is a figure in the unit of the wire and what it measures; a figure of
// dimension 0 is in the unit that the row states.
type result struct {
	value float64
	of    quantity.Dimension
}

// compute gives today's figure in the row's unit.
func (row Row) compute() (float64, error) {
	in, err := parseInputs(row.Inputs)
	if err != nil {
		return 0, err
	}
	r, err := compute(row.Method, in)
	if err := errors.Join(in.err(), err); err != nil {
		return 0, err
	}
	if math.IsNaN(r.value) || math.IsInf(r.value, 0) {
		return 0, errors.New("the computed figure is not finite")
	}
	figure, ok := quantity.In(r.of, r.value, row.Unit)
	if !ok {
		return 0, fmt.Errorf("%s is no unit of what %s computes, %s", row.Unit, row.Method, r.of)
	}
	return figure, nil
}

// compute reads the inputs that a method needs and computes its figure.
func compute(method string, in *inputs) (result, error) {
	switch method {
	case "run", "time", "run-ratio", "liftoff-speed", "average-force-run", "hot-high-ratio":
		return computeExample(method, in)
	case "unclipped-run", "unclipped-time":
		return computeUnclipped(method, in)
	case "quadratic-run", "quadratic-time", "quadratic-ratio", "saved-run", "saved-time", "weight-rise-speed", "weight-rise-run":
		return computeIdeal(method, in)
	case "natural-from", "natural-speed", "over-deck-speed", "over-deck-from", "over-deck-headwind", "over-deck-crosswind":
		return computeWind(method, in)
	case "ground-effect":
		return result{aircraft.GroundEffect(in.need("height", quantity.Length), in.need("span", quantity.Length)), quantity.Ratio}, nil
	case "grain-thrust", "grain-burn":
		return computeGrain(method, in)
	case "burn-rate":
		// Saint-Robert's law r = a p^n, behind the sensitivity of pressure to
		// temperature; the model itself starts from that sensitivity.
		return result{in.number("coefficient") * elementary.Pow(in.number("pressure_psi"), in.number("exponent")), quantity.Ratio}, nil
	case "rocket-weight-credit":
		return result{0.014 * in.number("impulse_lbf_s") * in.number("units"), quantity.Ratio}, nil
	case "increase":
		return result{in.need("after", quantity.Length)/in.need("before", quantity.Length) - 1, quantity.Ratio}, nil
	default:
		return computeAir(method, in)
	}
}

func computeAir(method string, in *inputs) (result, error) {
	switch method {
	case "standard-pressure":
		return result{air.StandardPressurePa(in.need("altitude", quantity.Length)), quantity.Pressure}, nil
	case "standard-density":
		return result{air.StandardDensityKgM3(in.need("altitude", quantity.Length)), quantity.Ratio}, nil
	case "humid-density-ratio":
		altitude := in.need("altitude", quantity.Length)
		density := air.DensityKgM3(air.StandardPressurePa(altitude),
			air.StandardTemperatureK(altitude)-air.ZeroCelsiusKelvin, in.number("relative_humidity"))
		return result{density / air.SeaLevelDensityKgM3, quantity.Ratio}, nil
	case "field-pressure-altitude":
		return result{air.FieldPressureAltitudeM(in.need("elevation", quantity.Length), in.need("qnh", quantity.Pressure)), quantity.Length}, nil
	case "density-altitude":
		pressure := air.StandardPressurePa(in.need("pressure_altitude", quantity.Length))
		return result{air.DensityAltitudeM(air.DensityKgM3(pressure, in.need("temperature", quantity.Temperature), 0)), quantity.Length}, nil
	}
	return result{}, fmt.Errorf("unknown method %q", method)
}

func computeGrain(method string, in *inputs) (result, error) {
	burn := in.need("burn", quantity.Time)
	unit := booster.Type{
		TraceS: []float64{0, burn}, TraceN: []float64{in.need("thrust", quantity.Force), in.need("thrust", quantity.Force)},
		PressureSensitivityPerK: in.need("sensitivity", quantity.PerKelvin),
	}
	grain := in.need("grain_difference", quantity.TemperatureDifference) // from a reference of 0 degC
	if method == "grain-burn" {
		return result{unit.BurnTimeS(grain), quantity.Time}, nil
	}
	return result{unit.ThrustN(burn/4, grain), quantity.Force}, nil
}

func computeWind(method string, in *inputs) (result, error) {
	ship := wind.Ship{CourseDeg: in.need("course", quantity.Angle), SpeedMPS: in.need("ship_speed", quantity.Speed)}
	if method == "natural-from" || method == "natural-speed" {
		natural := ship.Natural(wind.Vector{FromDeg: in.need("felt_from", quantity.Angle), SpeedMPS: in.need("felt_speed", quantity.Speed)})
		if method == "natural-from" {
			return result{natural.FromDeg, quantity.Angle}, nil
		}
		return result{natural.SpeedMPS, quantity.Speed}, nil
	}
	over := ship.OverDeck(wind.Vector{FromDeg: in.need("natural_from", quantity.Angle), SpeedMPS: in.need("natural_speed", quantity.Speed)})
	switch method {
	case "over-deck-speed":
		return result{over.SpeedMPS, quantity.Speed}, nil
	case "over-deck-from":
		return result{over.RelativeFromDeg, quantity.Angle}, nil
	case "over-deck-headwind":
		return result{over.HeadwindMPS, quantity.Speed}, nil
	default:
		return result{over.CrosswindMPS, quantity.Speed}, nil
	}
}
