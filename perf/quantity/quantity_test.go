package quantity

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bowroll/perf/violation"
	"bowroll/testdata/mutate"
)

// The expected values follow from the definitions named beside the unit table;
// the pressures and forces agree with NIST SP 811 (2008), appendix B.9.
func TestParseReadsWhatPeopleWrite(t *testing.T) {
	for _, c := range []struct {
		dimension Dimension
		text      string
		want      float64
	}{
		{Mass, "14,200 lb", 6441.011654},
		{Mass, "14200lb", 6441.011654},
		{Mass, "6.441 t", 6441},
		{Mass, "1,234,567 kg", 1234567},
		{Length, "5,000 ft", 1524},
		{Length, "2.5 NM", 4630},
		{Length, "12 in", 0.3048},
		{Area, "30.5 m2", 30.5},
		{Area, "328 ft2", 30.47219712},
		{Area, "328 ft²", 30.47219712},
		{Speed, "24 kt", 24 * 1852.0 / 3600},
		{Speed, "-24 kt", -24 * 1852.0 / 3600},
		{Speed, "\u221224\u00a0kt", -24 * 1852.0 / 3600},
		{Speed, "36 km/h", 10},
		{Speed, "600 ft/min", 3.048},
		{Speed, "0 kt", 0},
		{Temperature, "95 degF", 35},
		{Temperature, "95 °F", 35},
		{Temperature, "-40 F", -40},
		{Temperature, "308.15 K", 35},
		{Temperature, "35 degC", 35},
		{TemperatureDifference, "9 degF", 5},
		{TemperatureDifference, "5 degC", 5},
		{Pressure, "1013 hPa", 101300},
		{Pressure, "29.92 inHg", 101320.748119}, // 29.92 x 3386.388640341
		{Pressure, "760 mmHg", 101325.0144354},
		{Pressure, "1,800 psi", 1800 * 6894.757293168361},
		{Force, "4450 N", 4450},
		{Force, "1,000 lbf", 4448.2216152605},
		{Force, "1 kgf", 9.80665},
		{Power, "1 hp", 745.69987158227022},
		{Power, "1,340 kW", 1340000},
		{Angle, "12 deg", 12},
		{Angle, "0.35 rad", 0.35 * 180 / math.Pi},
		{Time, "2 s", 2},
		{Time, "20 min", 1200},
		{Time, "1.5 h", 5400},
		{Ratio, "80 %", 0.8},
		{Ratio, "0.8", 0.8},
		{Ratio, ".8", 0.8},
		{PerKelvin, "0.002 1/K", 0.002},
		{PerKelvin, "2e-3 /K", 0.002},
		{PerKelvin, "21/K", 21},
		{PerKelvin, "0.1 %/degF", 0.0018},
		{Voltage, "24 V", 24},
		{Resistance, "1.2 Ω", 1.2},
		{Resistance, "1.2 \u2126", 1.2},
		{Current, "50 mA", 0.05},
	} {
		got, err := Parse(c.dimension, c.text)
		if err != nil {
			t.Errorf("Parse(%v, %q): %v", c.dimension, c.text, err)
			continue
		}
		if math.Abs(got-c.want) > 1e-11*math.Max(1, math.Abs(c.want)) {
			t.Errorf("Parse(%v, %q) = %.15g, want %.15g", c.dimension, c.text, got, c.want)
		}
	}
}

// Decimal text is converted exactly and rounded once, so it equals the constant
// that the compiler works out exactly.
func TestParseRoundsOnce(t *testing.T) {
	for _, c := range []struct {
		dimension Dimension
		text      string
		want      float64
	}{
		{Mass, "14,200 lb", 14200 * 0.45359237},
		{Speed, "24.7 kt", 24.7 * 1852 / 3600},
		{Length, "520.1 ft", 520.1 * 0.3048},
		{Temperature, "95.4 degF", (95.4 - 32) * 5 / 9},
		{Pressure, "29.92 inHg", 29.92 * 25.4 * 13.5951 * 9.80665},
		{Force, "1,013.7 lbf", 1013.7 * 0.45359237 * 9.80665},
	} {
		got, err := Parse(c.dimension, c.text)
		if err != nil || got != c.want {
			t.Errorf("Parse(%v, %q) = %v, %v, want %v", c.dimension, c.text, got, err, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		dimension Dimension
		text      string
		hint      string
	}{
		{Mass, "14200", "unit is missing"},
		{Mass, "", "write the number and its unit"},
		{Mass, "  ", "write the number and its unit"},
		{Mass, "kg", "a number in decimal digits comes first"},
		{Mass, "24 kt", `"kt" is a unit of speed`},
		{Speed, "24 lb", `"lb" is a unit of mass`},
		{Mass, "5 K", "temperature or temperature difference"},
		{Speed, "24 KT", "write the unit as kt"},
		{Mass, "14,20 lb", "threes"},
		{Mass, "1420,0 lb", "threes"},
		{Mass, ",200 lb", "threes"},
		{Mass, "0,200 lb", "threes"},
		{Mass, "14,,200 lb", "threes"},
		{Mass, "14,2 lb", "decimal sign is a point"},
		{Mass, "14 200 lb", "by nothing else"},
		{Mass, "14\u202f200 lb", "by nothing else"},
		{Mass, "14_200 lb", "by nothing else"},
		{Mass, "14. lb", "a digit must follow"},
		{Mass, "1.2.3 lb", "one decimal point"},
		{Mass, "1.234,5 lb", "groups digits before it only"},
		{Mass, "0x1F lb", "no unit that is read"},
		{Mass, "NaN kg", "decimal digits"},
		{Mass, "Inf kg", "decimal digits"},
		{Mass, "-Infinity kg", "decimal digits"},
		{Mass, "--5 kg", "decimal digits"},
		{Mass, "\u06f1\u06f2 kg", "decimal digits"},
		{Mass, "1e999 kg", "exponent is out of range"},
		{Mass, "1e99999999999999999999 kg", "exponent is out of range"},
		{Mass, "1e400 kg", "too large"},
		{Mass, "1e-400 kg", "too small"},
		{Mass, "5 kg\x00", "no unit that is read"},
		{Mass, "5 \xff", "valid UTF-8"},
		{Mass, strings.Repeat("1", 62) + " kg", "at most 64 bytes"},
		{Temperature, "-300 degC", "absolute zero"},
		{Temperature, "-1 K", "absolute zero"},
		{Ratio, "5 kg", `"kg" is a unit of mass`},
		{Dimension(0), "5 kg", "dimension is not known"},
	} {
		got, err := Parse(c.dimension, c.text)
		var fault violation.Violation
		if !errors.As(err, &fault) {
			t.Errorf("Parse(%v, %q) = %v, %v; want a violation", c.dimension, c.text, got, err)
			continue
		}
		if !strings.Contains(fault.Hint, c.hint) {
			t.Errorf("Parse(%v, %q): hint %q does not contain %q", c.dimension, c.text, fault.Hint, c.hint)
		}
	}
}

func TestReadNamesTheFieldAndCollects(t *testing.T) {
	var faults violation.List
	if v, ok := Read(&faults, "gross_mass", Mass, "14,200 lb"); !ok || v != 14200*0.45359237 {
		t.Errorf("Read = %v, %v", v, ok)
	}
	Read(&faults, "run_available", Length, "520")
	Read(&faults, "wind.speed", Speed, "24 lb")
	if len(faults) != 2 || faults[0].Field != "run_available" || faults[1].Field != "wind.speed" {
		t.Fatalf("faults = %v", faults)
	}
	want := `run_available is "520": must be a length in m, ft, km, cm, mm, in, yd, NM ` +
		`(the unit is missing: write the number and its unit, e.g. "520 ft")`
	if got := faults[0].Error(); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Format(Mass, 14200*0.45359237, Trade, 0), "14,200 lb"},
		{Format(Mass, 6441, SI, 0), "6,441 kg"},
		{Format(Mass, 641, SI, 0), "641 kg"},
		{Format(Speed, 24*1852.0/3600, Trade, 1), "24.0 kt"},
		{Format(Speed, -0.001, Trade, 1), "0.0 kt"},
		{Format(Speed, -12.34, SI, 1), "-12.3 m/s"},
		{Format(Temperature, 35, Trade, 0), "35 degC"},
		{FormatIn(Temperature, 35, "degF", 0), "95 degF"},
		{Format(Pressure, 101325, Trade, 2), "29.92 inHg"},
		{FormatIn(Pressure, 101325, "hPa", 1), "1,013.2 hPa"},
		{Format(Ratio, 0.8, Trade, 2), "0.80"},
		{FormatIn(Ratio, 0.8, "%", 0), "80 %"},
		{Format(Length, 1234567.5, SI, 1), "1,234,567.5 m"},
		{Format(Length, math.NaN(), SI, 1), "n/a"},
		{Format(Length, math.Inf(1), SI, 1), "n/a"},
		{Format(Length, 1e300, SI, 1), "1e+300 m"},
		{FormatIn(Mass, 5, "kt", 0), "5 kg"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// Every unit's factor and offset can be read, and no two units of a dimension
// share a name.
func TestUnitTable(t *testing.T) {
	seen := map[Dimension]map[string]bool{}
	for _, u := range catalogue {
		if u.scale().Sign() <= 0 {
			t.Errorf("%v %v: factor %q", u.dimension, u.names, u.factor)
		}
		if u.offset != "" && exact(u.offset).Sign() == 0 {
			t.Errorf("%v %v: offset %q", u.dimension, u.names, u.offset)
		}
		if seen[u.dimension] == nil {
			seen[u.dimension] = map[string]bool{}
		}
		for _, name := range u.names {
			if seen[u.dimension][name] {
				t.Errorf("%v: two units called %q", u.dimension, name)
			}
			seen[u.dimension][name] = true
		}
	}
	for d := Mass; d <= Current; d++ {
		for _, name := range []string{d.Unit(), Trade.Unit(d), SI.Unit(d)} {
			if _, ok := find(d, name); !ok {
				t.Errorf("%v: unit %q is not in the table", d, name)
			}
		}
		if _, err := Parse(d, d.Example()); err != nil {
			t.Errorf("%v: example: %v", d, err)
		}
		if u, _ := find(d, d.Unit()); u.factor != "1" || u.offset != "" {
			t.Errorf("%v: the wire's unit has factor %q", d, u.factor)
		}
	}
}

func drawDimension(t *rapid.T) Dimension {
	return Dimension(rapid.IntRange(int(Mass), int(Current)).Draw(t, "dimension"))
}

// What FormatIn writes, Parse reads back to 1e-12, in every unit.
func TestFormatThenParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDimension(t)
		value := rapid.Float64Range(-1e9, 1e9).Draw(t, "value")
		name := rapid.SampledFrom(d.Units()).Draw(t, "unit")
		scale := math.Abs(value)
		if d == Temperature {
			value = math.Abs(value)
			scale = value + 300 // the zero of the scale is no zero of the quantity
		}
		text := FormatIn(d, value, name, Shortest)
		got, err := Parse(d, text)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		if math.Abs(got-value) > 1e-12*scale {
			t.Fatalf("%v became %q became %v", value, text, got)
		}
	})
}

// A shown value differs from the true one by half of its last digit at most.
func TestFormatRoundsByHalfADigit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDimension(t)
		value := rapid.Float64Range(0, 1e7).Draw(t, "value")
		digits := rapid.IntRange(0, 6).Draw(t, "digits")
		system := rapid.SampledFrom([]System{Trade, SI}).Draw(t, "system")
		got, err := Parse(d, Format(d, value, system, digits))
		if err != nil {
			t.Fatal(err)
		}
		a, _ := In(d, value, system.Unit(d))
		b, _ := In(d, got, system.Unit(d))
		if math.Abs(a-b) > 0.5000001*math.Pow(10, -float64(digits))+1e-12*math.Abs(a) {
			t.Fatalf("%v shown as %q", a, Format(d, value, system, digits))
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{
		"14,200 lb", "24 kt", "29.92 inHg", "95 degF", "1013 hPa", "0.35 rad", "\u22125 °C", "1e-3 1/K",
		"80 %", "14,20 lb", "NaN kt", "0x1p-2 kg", "1_000 m", "\xff", "1 000 m", "2 1/K", "+.5e+2Ω",
	} {
		for d := Mass; d <= Current; d += 3 {
			f.Add(int(d), seed)
		}
	}
	mutate.More(f)
	f.Fuzz(func(t *testing.T, dimension int, text string) {
		d := Dimension(dimension)
		value, err := Parse(d, text)
		if err != nil {
			var fault violation.Violation
			if !errors.As(err, &fault) || fault.Value == "" || fault.Hint == "" {
				t.Fatalf("%v: %#v", d, err)
			}
			return
		}
		if math.IsNaN(value) || math.IsInf(value, 0) || value == 0 && math.Signbit(value) {
			t.Fatalf("Parse(%v, %q) = %v", d, text, value)
		}
		for _, system := range []System{Trade, SI} {
			again, err := Parse(d, Format(d, value, system, Shortest))
			if err == nil && math.Abs(again-value) <= 1e-12*math.Abs(value) || math.Abs(value) > 1e300 || math.Abs(value) < 1e-300 {
				continue
			}
			t.Fatalf("%q is %v, shown as %q, read as %v, %v", text, value, Format(d, value, system, Shortest), again, err)
		}
	})
}
