package refusal

import (
	"strconv"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// rulesOf returns the contract's rules for fd, or nil.
func rulesOf(fd protoreflect.FieldDescriptor) *validate.FieldRules {
	rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	return rules
}

// shortRules maps the last part of a rule's id to the short name that callers
// see; other rules keep the name that the contract gives them.
var shortRules = map[string]string{
	"gt": "range", "gte": "range", "lt": "range", "lte": "range",
	"gt_lt": "range", "gt_lte": "range", "gte_lt": "range", "gte_lte": "range",
	"finite": "finite", "pattern": "pattern",
	"min_len": "length", "max_len": "length", "min_bytes": "length", "max_bytes": "length",
	"min_items": "count", "max_items": "count", "min_pairs": "count", "max_pairs": "count",
	"unique": "unique", "defined_only": "enum", "not_in": "enum", "in": "enum",
}

// shortRule returns the short name of the rule with this id, "double.gte_lte"
// being "range".
func shortRule(id string) string {
	if id == "message.oneof" {
		return "one-of"
	}
	kind, last, found := strings.Cut(id, ".")
	switch kind {
	case "double", "float", "int32", "int64", "uint32", "uint64", "string", "bytes", "enum", "repeated", "map":
		if short := shortRules[last]; found && short != "" {
			return short
		}
	}
	return id
}

// allowedBy says what fd's rules allow where rule was broken, or "" where the
// rule's own message says it best.
func allowedBy(fd protoreflect.FieldDescriptor, rule string) string {
	rules := rulesOf(fd)
	if items := rules.GetRepeated().GetItems(); items != nil && rule != "count" && rule != "unique" {
		rules = items
	}
	switch rule {
	case "range", "finite":
		return rangeOf(rules, unitOf(string(fd.Name())))
	case "enum":
		return enumOf(fd, rules)
	case "count":
		if r := rules.GetRepeated(); r.HasMaxItems() {
			return span(strconv.FormatUint(r.GetMinItems(), 10), strconv.FormatUint(r.GetMaxItems(), 10)) + " entries"
		} else {
			return "at least " + strconv.FormatUint(r.GetMinItems(), 10) + " entries"
		}
	case "length":
		if s := rules.GetString(); s.HasMaxBytes() {
			return span(strconv.FormatUint(s.GetMinLen(), 10), strconv.FormatUint(s.GetMaxBytes(), 10)) + " bytes"
		}
	}
	return ""
}

func rangeOf(rules *validate.FieldRules, unit string) string {
	number := func(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
	var low, high string
	if d := rules.GetDouble(); d != nil {
		if d.HasGte() {
			low = number(d.GetGte())
		} else if d.HasGt() {
			low = "more than " + number(d.GetGt())
		}
		if d.HasLte() {
			high = number(d.GetLte())
		} else if d.HasLt() {
			high = "less than " + number(d.GetLt())
		}
	} else if i := rules.GetInt32(); i != nil {
		if i.HasGte() {
			low = strconv.Itoa(int(i.GetGte()))
		}
		if i.HasLte() {
			high = strconv.Itoa(int(i.GetLte()))
		}
	}
	text := span(low, high)
	if text == "" {
		return ""
	}
	if unit != "" {
		text += " " + unit
	}
	return text
}

func span(low, high string) string {
	switch {
	case low == "":
		return high
	case high == "":
		return "at least " + low
	default:
		return "from " + low + " to " + high
	}
}

func enumOf(fd protoreflect.FieldDescriptor, rules *validate.FieldRules) string {
	if fd.Enum() == nil {
		return ""
	}
	refused := map[int32]bool{}
	for _, n := range rules.GetEnum().GetNotIn() {
		refused[n] = true
	}
	values := fd.Enum().Values()
	names := make([]string, 0, values.Len())
	for i := range values.Len() {
		if v := values.Get(i); !refused[int32(v.Number())] && v.Number() != 0 {
			names = append(names, string(v.Name()))
		}
	}
	return "one of " + strings.Join(names, ", ")
}

// patternText says what texts a pattern of the contract matches.
func patternText(pattern string) string {
	const id = "[a-z][a-z0-9-]{0,62}"
	shape := strings.NewReplacer(id, "{id}", "^", "", "$", "", ")?", "", "(", "").Replace(pattern)
	switch {
	case pattern == `\S`:
		return "text that is not blank"
	case shape == "{id}":
		return "up to 63 lower-case letters, digits and hyphens, the first a letter"
	case strings.Contains(shape, "{id}") && !strings.ContainsAny(shape, `[]\\*+?|`):
		return shape + ", each id up to 63 lower-case letters, digits and hyphens, the first a letter"
	}
	return "text that matches " + pattern
}

// unitOf returns the unit that a field's name ends in, as people read it.
func unitOf(name string) string {
	for _, u := range units {
		if strings.HasSuffix(name, u.suffix) {
			return u.text
		}
	}
	return ""
}

// units are the suffixes of the contract, the longer ones before those that
// they end in.
var units = []struct{ suffix, text string }{
	{"_deg_s", "degrees a second"},
	{"_per_k", "per kelvin"},
	{"_mps", "m/s"},
	{"_kg_m3", "kg/m3"},
	{"_m2", "m2"},
	{"_kg", "kg"},
	{"_deg", "degrees"},
	{"_pa", "Pa"},
	{"_c", "degrees Celsius"},
	{"_n", "N"},
	{"_w", "W"},
	{"_s", "s"},
	{"_m", "m"},
}
