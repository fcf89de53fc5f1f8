package cycle

import (
	"slices"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A key is one field of a message as a file writes it.
type key struct {
	name     string // as a file writes it
	field    protoreflect.FieldDescriptor
	unit     unit // of the number in the field; zero for all but dimensioned numbers
	required bool
	prefix   string // collection that an id alone is completed with, or empty
}

// collections are the resource names that may be written by their id alone.
var collections = map[string]string{
	"bowroll/AircraftType": "aircraftTypes/",
	"bowroll/BoosterType":  "boosterTypes/",
}

// keysOf lists what may be written for a message, in the order of its fields.
// Fields that only answers carry are left out. Where two fields differ by
// their unit alone (trace_s, trace_n), both keep their whole name.
func keysOf(message protoreflect.MessageDescriptor) []key {
	var keys []key
	count := map[string]int{}
	for i := range message.Fields().Len() {
		field := message.Fields().Get(i)
		behavior, _ := proto.GetExtension(field.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
		if slices.Contains(behavior, annotations.FieldBehavior_OUTPUT_ONLY) {
			continue
		}
		k := key{name: string(field.Name()), field: field, required: slices.Contains(behavior, annotations.FieldBehavior_REQUIRED)}
		if field.Kind() == protoreflect.DoubleKind {
			k.name, k.unit = splitUnit(k.name)
		}
		if ref, ok := proto.GetExtension(field.Options(), annotations.E_ResourceReference).(*annotations.ResourceReference); ok {
			k.prefix = collections[ref.GetType()]
		}
		count[k.name]++
		keys = append(keys, k)
	}
	for i := range keys {
		if count[keys[i].name] > 1 {
			keys[i].name = string(keys[i].field.Name())
		}
	}
	return keys
}

// missing says what to write where a key is missing.
func (k *key) missing() string {
	const lead = "absent is never zero: write it"
	switch {
	case k.unit.suffix != "":
		return lead + ", e.g. " + k.name + ": " + k.unit.example
	case k.field.Enum() != nil:
		list, _ := words(k.field.Enum())
		return lead + ", one of " + strings.Join(list, ", ")
	case isInstant(k.field):
		return lead + ", e.g. " + instantExample
	case k.field.Message() != nil:
		return lead + "; it holds " + strings.Join(names(keysOf(k.field.Message())), ", ")
	}
	return lead
}

// names lists the names of keys.
func names(keys []key) []string {
	list := make([]string, len(keys))
	for i, k := range keys {
		list[i] = k.name
	}
	return list
}

// bounds returns the range that the contract states for a number, where it
// states both ends.
func bounds(field protoreflect.FieldDescriptor) (least, greatest float64, ok bool) {
	rules, _ := proto.GetExtension(field.Options(), validate.E_Field).(*validate.FieldRules)
	if field.IsList() {
		rules = rules.GetRepeated().GetItems()
	}
	switch field.Kind() {
	case protoreflect.DoubleKind:
		r := rules.GetDouble()
		return r.GetGte(), r.GetLte(), r != nil && r.HasGte() && r.HasLte()
	case protoreflect.Int32Kind:
		r := rules.GetInt32()
		return float64(r.GetGte()), float64(r.GetLte()), r != nil && r.HasGte() && r.HasLte()
	}
	return 0, 0, false
}

// words returns the values of an enumeration as a file writes them:
// FIRING_MODE_ON_BRAKES of FiringMode is on-brakes. The unspecified value is
// none of them.
func words(enum protoreflect.EnumDescriptor) (list []string, byWord map[string]protoreflect.EnumNumber) {
	byWord = map[string]protoreflect.EnumNumber{}
	values := enum.Values()
	prefix := strings.TrimSuffix(string(values.Get(0).Name()), "UNSPECIFIED")
	for i := 1; i < values.Len(); i++ {
		value := values.Get(i)
		word := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(value.Name()), prefix), "_", "-"))
		list = append(list, word)
		byWord[word] = value.Number()
	}
	return list, byWord
}
