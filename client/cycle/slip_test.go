package cycle_test

import (
	"testing"

	"bowroll/client/cycle"
)

func TestSlipHintSaysWhatToWrite(t *testing.T) {
	for _, c := range []struct{ hint, written, want string }{
		{"looks like pounds: send kilograms", "12,900 kg", "looks like pounds: write 12,900 lb if that is meant"},
		{"looks like kilograms taken for pounds and converted: send kilograms", "6000 lb", "looks like kilograms: write 6000 kg if that is meant"},
		{"looks like degrees Fahrenheit: send degrees Celsius", "79 degC", "looks like degrees Fahrenheit: write 79 degF if that is meant"},
		{"looks like pounds: send kilograms", "12.9 t", "looks like pounds: check number and unit"},
		{"looks like one digit too many", "129,000 lb", "looks like one digit too many"},
		{"see the catalog", "corvan", "see the catalog"},
		{"", "1 kt", ""},
	} {
		if got := cycle.SlipHint(c.hint, c.written); got != c.want {
			t.Errorf("%q of %q: %q, want %q", c.hint, c.written, got, c.want)
		}
	}
}
