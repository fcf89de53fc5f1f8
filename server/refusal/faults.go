package refusal

import (
	"errors"
	"fmt"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/violation"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// ruleFaults returns what the contract's own rules find in m.
func ruleFaults(v protovalidate.Validator, prefix string, m proto.Message) ([]*bowrollv1.Violation, error) {
	err := v.Validate(m)
	if err == nil {
		return nil, nil
	}
	var found *protovalidate.ValidationError
	if !errors.As(err, &found) {
		return nil, err
	}
	faults := make([]*bowrollv1.Violation, 0, len(found.Violations))
	for _, f := range found.Violations {
		faults = append(faults, contractFault(prefix, m.ProtoReflect().Descriptor(), f))
	}
	return faults, nil
}

func contractFault(prefix string, of protoreflect.MessageDescriptor, f *protovalidate.Violation) *bowrollv1.Violation {
	message := f.Proto.GetMessage()
	out := &bowrollv1.Violation{
		Field: join(prefix, protovalidate.FieldPathString(f.Proto.GetField())),
		Rule:  shortRule(f.Proto.GetRuleId()),
	}
	fd := f.FieldDescriptor
	if fd == nil && f.FieldValue.IsValid() {
		fd = descriptorAt(of, f.Proto.GetField().GetElements())
	}
	if fd == nil || fd.Message() != nil && !fd.IsList() && out.Rule != "required" {
		// A rule over several fields has no value of its own: its message says
		// what to do.
		out.Hint = message
		return out
	}
	if out.Rule == "required" {
		out.Allowed = allowedBy(fd, "range")
		return out
	}
	if f.FieldValue.IsValid() {
		if list, ok := f.FieldValue.Interface().(protoreflect.List); ok {
			out.Value = fmt.Sprintf("%d entries", list.Len())
		} else if scalar(fd) && !fd.IsMap() {
			out.Value = valueText(fd, f.FieldValue)
		}
	}
	if out.Rule == "pattern" && f.RuleValue.IsValid() {
		out.Allowed = patternText(f.RuleValue.String())
	} else if out.Allowed = allowedBy(fd, out.Rule); out.Allowed == "" {
		out.Allowed = strings.TrimPrefix(strings.TrimPrefix(message, "value must be "), "must be ")
	}
	if !fd.IsList() && f.FieldValue.Equal(fd.Default()) && (out.Rule == "pattern" || out.Rule == "enum" || out.Rule == "length") {
		// A text or a name without presence was not given.
		out.Rule, out.Value = "required", ""
	}
	return out
}

// descriptorAt finds the field that a path ends in, which the library does not
// say for an element of a list.
func descriptorAt(of protoreflect.MessageDescriptor, path []*validate.FieldPathElement) protoreflect.FieldDescriptor {
	var fd protoreflect.FieldDescriptor
	for _, e := range path {
		if of == nil {
			return nil
		}
		if fd = of.Fields().ByNumber(protoreflect.FieldNumber(e.GetFieldNumber())); fd == nil {
			return nil
		}
		of = fd.Message()
	}
	return fd
}

// valueText is a value as it was sent, kept short.
func valueText(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	const most = 80
	if fd.Enum() != nil {
		if value := fd.Enum().Values().ByNumber(v.Enum()); value != nil {
			return string(value.Name())
		}
	}
	text := fmt.Sprint(v.Interface())
	if len(text) > most {
		text = strings.ToValidUTF8(text[:most], "") + "..."
	}
	return text
}

func scalar(fd protoreflect.FieldDescriptor) bool {
	return fd != nil && fd.Message() == nil
}

// FromModel turns what the model found into faults, each with prefix and a dot
// before its path. An error of another kind becomes one fault of prefix itself.
func FromModel(prefix string, err error) []*bowrollv1.Violation {
	if err == nil {
		return nil
	}
	var list violation.List
	if !errors.As(err, &list) {
		return []*bowrollv1.Violation{{Field: prefix, Rule: "model", Hint: err.Error()}}
	}
	faults := make([]*bowrollv1.Violation, 0, len(list))
	for _, v := range list {
		f := &bowrollv1.Violation{
			Field: join(prefix, v.Field), Value: v.Value, Rule: "range", Allowed: v.Allowed, Hint: v.Hint,
		}
		if v.Value == "absent" {
			f.Rule, f.Value = "required", ""
		}
		faults = append(faults, f)
	}
	return faults
}

func join(prefix, path string) string {
	switch {
	case prefix == "":
		return path
	case path == "":
		return prefix
	case strings.HasPrefix(path, "["):
		return prefix + path
	default:
		return prefix + "." + path
	}
}
