package cycle

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/quantity"
)

// rangeText says what a key may hold, in the unit that the value was written in.
func rangeText(k *key, written string) string {
	least, greatest, ok := bounds(k.field)
	switch {
	case !ok:
		return ""
	case k.field.Kind() == protoreflect.Int32Kind:
		return strconv.FormatFloat(least, 'f', 0, 64) + " to " + strconv.FormatFloat(greatest, 'f', 0, 64)
	case k.unit.suffix == "":
		return quantity.Format(quantity.Ratio, least, quantity.SI, quantity.Shortest) + " to " +
			quantity.Format(quantity.Ratio, greatest, quantity.SI, quantity.Shortest)
	}
	d := k.unit.dimension
	name := d.Unit()
	if i := strings.IndexFunc(written, func(r rune) bool { return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' }); i >= 0 {
		if _, known := quantity.In(d, 0, strings.TrimSpace(written[i:])); known {
			name = strings.TrimSpace(written[i:])
		}
	}
	return quantity.FormatIn(d, least, name, 1) + " to " + quantity.FormatIn(d, greatest, name, 1)
}
