package quantity_test

import (
	"fmt"

	"bowroll/perf/quantity"
)

func Example() {
	mass, err := quantity.Parse(quantity.Mass, "14,200 lb")
	fmt.Println(mass, quantity.Mass.Unit(), err)
	fmt.Println(quantity.Format(quantity.Mass, mass, quantity.Trade, 0))
	_, err = quantity.Parse(quantity.Mass, "24 kt")
	fmt.Println(err)
	// Output:
	// 6441.011654 kg <nil>
	// 14,200 lb
	// mass is "24 kt": must be a mass in kg, g, t, lb ("kt" is a unit of speed)
}
