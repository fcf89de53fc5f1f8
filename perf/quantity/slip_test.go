package quantity_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/quantity"
)

func TestSlips(t *testing.T) {
	for _, row := range []struct {
		of        quantity.Dimension
		value     float64
		low, high float64
		slip      quantity.Slip
		meant     float64
		text      string
	}{
		{quantity.Mass, 12125.4, 4000, 9500, quantity.TradeForSI, 5500, "looks like pounds: send kilograms"},
		{quantity.Mass, 2494.8, 4000, 9500, quantity.ConvertedTwice, 5500, "looks like kilograms taken for pounds and converted: send kilograms"},
		{quantity.Length, 420, 0, 230, quantity.TradeForSI, 128.016, "looks like feet: send metres"},
		{quantity.Speed, 28, -23, 23, quantity.TradeForSI, 14.404, "looks like knots: send metres a second"},
		{quantity.Speed, -28, -23, 23, quantity.TradeForSI, -14.404, "looks like knots: send metres a second"},
		{quantity.Temperature, 68, -12, 48, quantity.TradeForSI, 20, "looks like degrees Fahrenheit: send degrees Celsius"},
		{quantity.Temperature, -20, -12, 48, quantity.ConvertedTwice, -4, "looks like degrees Celsius taken for degrees Fahrenheit and converted: send degrees Celsius"},
		{quantity.Mass, 55000, 5400, 5600, quantity.DigitTooMany, 5500, "looks like one digit too many"},
		{quantity.Mass, 56500, 5400, 5600, quantity.DigitTooMany, 5500, "looks like one digit too many"},
		{quantity.Mass, 550, 5400, 5600, quantity.DigitTooFew, 5500, "looks like one digit too few"},
		{quantity.Mass, 5500, 4000, 9500, quantity.NoSlip, 5500, ""},
		{quantity.Mass, 30000, 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Mass, math.NaN(), 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Mass, 0, 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Mass, 1e-9, 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Mass, -0.25, 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Mass, 1e300, 4000, 9500, quantity.NoSlip, 0, ""},
		{quantity.Pressure, 1013, 50000, 110000, quantity.TradeForSI, 101300, "looks like hectopascals: send pascals"},
		{quantity.Ratio, 12, 0, 1, quantity.DigitTooMany, 1, "looks like one digit too many"},
	} {
		slip, meant := quantity.FindSlip(row.of, row.value, quantity.Within(row.low, row.high))
		if slip != row.slip || slip.Describe(row.of) != row.text {
			t.Errorf("%v %g: %v %q, want %q", row.of, row.value, slip, slip.Describe(row.of), row.text)
		}
		if row.slip == quantity.TradeForSI || row.slip == quantity.ConvertedTwice {
			if math.Abs(meant-row.meant) > 1e-3*math.Abs(row.meant) {
				t.Errorf("%v %g: meant %g, want %g", row.of, row.value, meant, row.meant)
			}
		}
	}
}

// Whatever the slip says was meant is believed, and nothing believed is doubted.
func TestSlipsAreBelievedAfterwards(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	dimensions := []quantity.Dimension{quantity.Mass, quantity.Length, quantity.Speed, quantity.Temperature, quantity.Pressure}
	for range 20000 {
		low := math.Round(1000 * rng.Float64())
		believed := quantity.Within(low, low*(1+rng.Float64()))
		value := math.Round(20000*(rng.Float64()-0.2)) / math.Pow10(rng.IntN(3))
		slip, meant := quantity.FindSlip(dimensions[rng.IntN(len(dimensions))], value, believed)
		if believed(value) && slip != quantity.NoSlip {
			t.Fatalf("%g is believed from %g, and called %v", value, low, slip)
		}
		if slip != quantity.NoSlip && !believed(meant) {
			t.Fatalf("%g from %g: %v meant %g", value, low, slip, meant)
		}
	}
}
