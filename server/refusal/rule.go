package refusal

import (
	"math"
	"regexp"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout"
)

// rule is what the quick look knows of one value. A value for which it does not
// hold may still be sound.
type rule struct {
	unsure      bool // there is a rule that is not known here
	kind        protoreflect.Kind
	least, most float64
	names       map[int32]bool
	text        func(string) bool
	shortest    int
	longest     int
}

// newRule compiles the rules of a value of fd, or of an element of it.
func newRule(fd protoreflect.FieldDescriptor, of *validate.FieldRules) rule {
	r := rule{kind: fd.Kind(), least: math.Inf(-1), most: math.Inf(1), longest: math.MaxInt}
	if of == nil {
		return r
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		d := of.GetDouble()
		r.unsure = !only(of, "required", "double") || !only(d, "gte", "lte", "gt", "finite")
		switch bound := d.GetGreaterThan().(type) {
		case *validate.DoubleRules_Gte:
			r.least = bound.Gte
		case *validate.DoubleRules_Gt:
			r.least = math.Nextafter(bound.Gt, math.Inf(1))
		}
		if bound, ok := d.GetLessThan().(*validate.DoubleRules_Lte); ok {
			r.most = bound.Lte
		}
		// Bounds the wrong way round mean everything outside them.
		r.unsure = r.unsure || r.least > r.most
	case protoreflect.Int32Kind:
		n := of.GetInt32()
		r.unsure = !only(of, "required", "int32") || !only(n, "gte", "lte")
		if bound, ok := n.GetGreaterThan().(*validate.Int32Rules_Gte); ok {
			r.least = float64(bound.Gte)
		}
		if bound, ok := n.GetLessThan().(*validate.Int32Rules_Lte); ok {
			r.most = float64(bound.Lte)
		}
		r.unsure = r.unsure || r.least > r.most
	case protoreflect.EnumKind:
		e := of.GetEnum()
		r.unsure = !only(of, "required", "enum") || !only(e, "defined_only", "not_in")
		r.names = namesOf(fd.Enum(), e)
	case protoreflect.StringKind:
		s := of.GetString()
		r.unsure = !only(of, "required", "string") || !only(s, "pattern", "min_len", "max_bytes")
		r.shortest = int(min(s.GetMinLen(), math.MaxInt32))
		if s.HasMaxBytes() {
			r.longest = int(min(s.GetMaxBytes(), math.MaxInt32))
		}
		if s.HasPattern() && !r.unsure {
			r.text = matcher(s.GetPattern())
		}
	default:
		r.unsure = !only(of, "required")
	}
	return r
}

// namesOf are the numbers that an enum may have; nil means any.
func namesOf(e protoreflect.EnumDescriptor, of *validate.EnumRules) map[int32]bool {
	if !of.GetDefinedOnly() {
		if len(of.GetNotIn()) == 0 {
			return nil
		}
		return map[int32]bool{} // any number but those: not known here
	}
	names := map[int32]bool{}
	for i := range e.Values().Len() {
		names[int32(e.Values().Get(i).Number())] = true
	}
	for _, number := range of.GetNotIn() {
		delete(names, number)
	}
	return names
}

// holds judges one value.
func (r *rule) holds(v layout.Value) bool {
	switch r.kind {
	case protoreflect.DoubleKind:
		f := v.Float()
		// Less itself is zero for every finite number.
		return f >= r.least && f <= r.most && f-f == 0 && (f != 0 || !math.Signbit(f))
	case protoreflect.StringKind:
		s := v.String()
		return plain(s) && len(s) >= r.shortest && len(s) <= r.longest && (r.text == nil || r.text(s))
	case protoreflect.Int32Kind:
		n := float64(v.Int32())
		return n >= r.least && n <= r.most
	case protoreflect.EnumKind:
		return r.names == nil || r.names[v.Int32()]
	}
	return true
}

// id is how the contract writes an id in a pattern.
const id = "[a-z][a-z0-9-]{0,62}"

// matcher matches texts with a pattern. Names made of ids, which nearly every
// request holds several of, are matched without the regular expression.
func matcher(pattern string) func(string) bool {
	inside, anchored := strings.CutPrefix(pattern, "^")
	inside, ends := strings.CutSuffix(inside, "$")
	optional := strings.HasPrefix(inside, "(") && strings.HasSuffix(inside, ")?")
	if optional {
		inside = inside[1 : len(inside)-2]
	}
	parts := strings.Split(inside, id)
	for i, part := range parts {
		// Between two ids there must be something that no id holds.
		if between := i > 0 && i < len(parts)-1; strings.ContainsAny(part, `\.+*?()|[]{}^$`) || between && !strings.HasPrefix(part, "/") {
			anchored = false
		}
	}
	if !anchored || !ends || parts[len(parts)-1] != "" {
		whole := regexp.MustCompile(pattern)
		return whole.MatchString
	}
	parts = parts[:len(parts)-1]
	return func(text string) bool {
		if text == "" {
			return optional
		}
		for _, literal := range parts {
			rest, found := strings.CutPrefix(text, literal)
			if !found {
				return false
			}
			n := idLength(rest)
			if n == 0 {
				return false
			}
			text = rest[n:]
		}
		return text == ""
	}
}

// idLength is how much of the beginning of a text is an id.
func idLength(text string) int {
	n := 0
	for n < len(text) && n < 63 {
		c := text[n]
		if !(c >= 'a' && c <= 'z' || n > 0 && (c >= '0' && c <= '9' || c == '-')) {
			break
		}
		n++
	}
	return n
}
