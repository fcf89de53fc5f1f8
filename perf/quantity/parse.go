package quantity

import (
	"math"
	"math/big"
	"strconv"
	"strings"
	"unicode/utf8"

	"bowroll/perf/violation"
)

// MaxBytes is the longest text that is read as a quantity.
const MaxBytes = 64

// largestExponent keeps the exact arithmetic small; float64 ends before it.
const largestExponent = 400

// Parse reads text as a quantity of dimension d and gives its value in
// d.Unit(): the float64 nearest to the exact value, never NaN nor infinite, and
// never negative zero.
//
// The error is a [violation.Violation] whose Field is the dimension's name; use
// [Read] to name a field of your own.
func Parse(d Dimension, text string) (float64, error) {
	value, fault := read(d, text)
	if fault != nil {
		return 0, *fault
	}
	return value, nil
}

// Read is Parse for one field among others: what is refused is added to faults
// under the name field, and ok tells whether value may be used.
func Read(faults *violation.List, field string, d Dimension, text string) (value float64, ok bool) {
	value, fault := read(d, text)
	if fault != nil {
		faults.Add(field, fault.Value, fault.Allowed, fault.Hint)
		return 0, false
	}
	return value, true
}

func read(d Dimension, text string) (float64, *violation.Violation) {
	refuse := func(hint string) (float64, *violation.Violation) {
		return 0, &violation.Violation{Field: d.String(), Value: shown(text), Allowed: d.allowed(), Hint: hint}
	}
	if d.Unit() == "" {
		return refuse("the dimension is not known")
	}
	if len(text) > MaxBytes {
		return refuse("at most " + strconv.Itoa(MaxBytes) + " bytes are read")
	}
	if !utf8.ValidString(text) {
		return refuse("the text is not valid UTF-8")
	}
	plain := strings.TrimSpace(plainSigns.Replace(text))
	if plain == "" {
		return refuse(d.write())
	}
	digits, name, hint := split(plain)
	if hint != "" {
		return refuse(hint)
	}
	u, known := find(d, name)
	if !known {
		return refuse(d.explain(name))
	}
	number, ok := new(big.Rat).SetString(digits)
	if !ok {
		return refuse("the number cannot be read")
	}
	exactValue := u.toWire(number)
	if d == Temperature && exactValue.Cmp(exact("-273.15")) < 0 {
		return refuse("that is below absolute zero")
	}
	value, _ := exactValue.Float64()
	if math.IsInf(value, 0) {
		return refuse("the number is too large to be held")
	}
	if value == 0 && exactValue.Sign() != 0 {
		return refuse("the number is too small to be held")
	}
	return value, nil
}

// plainSigns puts one sign for the several that keyboards and typesetters give:
// no-break, narrow no-break and thin spaces, and the true minus.
var plainSigns = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2212", "-")

// split parts a quantity into its number, in a form that math/big reads, and
// its unit. What cannot be a number gives a hint instead.
func split(plain string) (digits, name, hint string) {
	rest := plain
	var number strings.Builder
	if rest[0] == '-' || rest[0] == '+' {
		number.WriteByte(rest[0])
		rest = rest[1:]
	}
	whole := span(rest, "0123456789,")
	rest = rest[len(whole):]
	if strings.Contains(whole, ",") && !grouped(whole) {
		return "", "", "commas group digits in threes, as in 14,200; the decimal sign is a point"
	}
	whole = strings.ReplaceAll(whole, ",", "")
	fraction := ""
	if strings.HasPrefix(rest, ".") {
		fraction = span(rest[1:], "0123456789")
		rest = rest[1+len(fraction):]
		if fraction == "" {
			return "", "", "a digit must follow the decimal point"
		}
	}
	if whole == "" && fraction == "" {
		return "", "", "a number in decimal digits comes first, then its unit"
	}
	if strings.HasPrefix(rest, ".") || strings.HasPrefix(rest, ",") {
		return "", "", "a number has one decimal point and groups digits before it only"
	}
	number.WriteString("0" + whole)
	if fraction != "" {
		number.WriteString("." + fraction)
	}
	power := exponent(rest)
	rest = rest[len(power):]
	if power != "" {
		if n, err := strconv.Atoi(power[1:]); err != nil || n > largestExponent || n < -largestExponent {
			return "", "", "the exponent is out of range"
		}
		number.WriteString(power)
	}
	name = strings.TrimSpace(rest)
	switch {
	case name != "" && (name[0] == '_' || name[0] >= '0' && name[0] <= '9') && name != "1" && !strings.HasPrefix(name, "1/"):
		return "", "", "digits may be grouped by commas in threes, as in 14,200, and by nothing else"
	case name == "1" || strings.HasPrefix(name, "1/"):
		// "2 1/K" is two per kelvin; "21/K" must not become it.
		if !strings.HasPrefix(rest, " ") {
			return "", "", "a space must part the number from its unit"
		}
	}
	return number.String(), name, ""
}

// span gives the leading part of s that is made of the given bytes.
func span(s, bytes string) string {
	return s[:len(s)-len(strings.TrimLeft(s, bytes))]
}

// grouped tells whether digits are grouped in threes by commas: 1 to 3 digits,
// the first not 0, then groups of three.
func grouped(digits string) bool {
	groups := strings.Split(digits, ",")
	if len(groups[0]) < 1 || len(groups[0]) > 3 || groups[0][0] == '0' {
		return false
	}
	for _, group := range groups[1:] {
		if len(group) != 3 {
			return false
		}
	}
	return true
}

// exponent gives the leading exponent of s ("e-3"), or "".
func exponent(s string) string {
	if s == "" || s[0] != 'e' && s[0] != 'E' {
		return ""
	}
	end := 1
	if end < len(s) && (s[end] == '-' || s[end] == '+') {
		end++
	}
	digits := span(s[end:], "0123456789")
	if digits == "" {
		return ""
	}
	return s[:end+len(digits)]
}

// allowed says what is read for d.
func (d Dimension) allowed() string {
	if d == Ratio {
		return "a ratio, bare or in %"
	}
	return "a " + d.String() + " in " + strings.Join(d.Units(), ", ")
}

// write says how to write a quantity of d.
func (d Dimension) write() string {
	return `write the number and its unit, e.g. "` + d.Example() + `"`
}

// explain says why name is no unit of d.
func (d Dimension) explain(name string) string {
	if name == "" {
		return "the unit is missing: " + d.write()
	}
	if near := sameButCase(d, name); near != "" {
		return "write the unit as " + near
	}
	if others := measured(name); len(others) > 0 {
		names := make([]string, len(others))
		for i, other := range others {
			names[i] = other.String()
		}
		return shown(name) + " is a unit of " + strings.Join(names, " or ")
	}
	return shown(name) + " is no unit that is read here"
}

// shown quotes text for a message, cut where it is long.
func shown(text string) string {
	if len(text) > MaxBytes {
		cut := MaxBytes
		for cut > 0 && !utf8.RuneStart(text[cut]) {
			cut--
		}
		return strconv.Quote(text[:cut]) + "..."
	}
	return strconv.Quote(text)
}
