package quantity

// Dimension is what a number measures.
type Dimension int

// The dimensions that inputs have. The zero value is none of them.
const (
	Mass                  Dimension = iota + 1 // kg
	Length                                     // m
	Area                                       // m2
	Speed                                      // m/s
	Temperature                                // degC, a point on the scale
	TemperatureDifference                      // K
	Pressure                                   // Pa
	Force                                      // N
	Power                                      // W
	Angle                                      // deg
	Time                                       // s
	Ratio                                      // 1
	PerKelvin                                  // 1/K
	Voltage                                    // V
	Resistance                                 // ohm
	Current                                    // A
	TurnRate                                   // deg/s
)

// description is what a reader is told about a dimension: its name, the unit
// that Parse answers in, the unit shown in each system, and an example.
type description struct {
	name, wire, trade, si, example string
}

func (d Dimension) describe() description {
	switch d {
	case Mass:
		return description{"mass", "kg", "lb", "kg", "14,200 lb"}
	case Length:
		return description{"length", "m", "ft", "m", "520 ft"}
	case Area:
		return description{"area", "m2", "ft2", "m2", "328 ft2"}
	case Speed:
		return description{"speed", "m/s", "kt", "m/s", "24 kt"}
	case Temperature:
		return description{"temperature", "degC", "degC", "degC", "35 degC"}
	case TemperatureDifference:
		return description{"temperature difference", "K", "K", "K", "5 K"}
	case Pressure:
		return description{"pressure", "Pa", "inHg", "Pa", "29.92 inHg"}
	case Force:
		return description{"force", "N", "lbf", "N", "1,000 lbf"}
	case Power:
		return description{"power", "W", "hp", "W", "1,340 kW"}
	case Angle:
		return description{"angle", "deg", "deg", "deg", "12 deg"}
	case Time:
		return description{"time", "s", "s", "s", "2 s"}
	case Ratio:
		return description{"ratio", "1", "1", "1", "80 %"}
	case PerKelvin:
		return description{"rate per kelvin", "1/K", "1/K", "1/K", "0.002 1/K"}
	case Voltage:
		return description{"voltage", "V", "V", "V", "24 V"}
	case Resistance:
		return description{"resistance", "ohm", "ohm", "ohm", "1.2 ohm"}
	case Current:
		return description{"current", "A", "A", "A", "5 A"}
	case TurnRate:
		return description{"rate of turn", "deg/s", "deg/min", "deg/s", "48 deg/min"}
	}
	return description{name: "unknown dimension"}
}

// String gives the dimension's name, e.g. "temperature difference".
func (d Dimension) String() string { return d.describe().name }

// Unit gives the unit that [Parse] answers in, e.g. "kg"; "1" for a ratio.
func (d Dimension) Unit() string { return d.describe().wire }

// Example gives a quantity of this dimension as a reader may write it.
func (d Dimension) Example() string { return d.describe().example }
