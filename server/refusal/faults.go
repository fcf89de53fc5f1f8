package refusal

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/violation"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Check returns every fault that the contract's own rules find in m, each with
// prefix and a dot before its path. An error is a fault of the rules themselves.
func Check(v protovalidate.Validator, prefix string, m proto.Message) ([]*bowrollv1.Violation, error) {
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
		faults = append(faults, contractFault(prefix, f))
	}
	return faults, nil
}

func contractFault(prefix string, f *protovalidate.Violation) *bowrollv1.Violation {
	rule := f.Proto.GetRuleId()
	message := f.Proto.GetMessage()
	out := &bowrollv1.Violation{
		Field:   join(prefix, protovalidate.FieldPathString(f.Proto.GetField())),
		Rule:    rule,
		Allowed: strings.TrimPrefix(strings.TrimPrefix(message, "value must be "), "must be "),
	}
	if rule == "required" {
		out.Allowed = "given"
		return out
	}
	if scalar(f.FieldDescriptor) && f.FieldValue.IsValid() {
		out.Value = fmt.Sprint(f.FieldValue.Interface())
	}
	if ends := bothEnds.FindStringSubmatch(message); ends != nil {
		out.Allowed = "from " + ends[1] + " to " + ends[2]
	}
	if strings.HasSuffix(rule, ".pattern") && f.RuleValue.IsValid() {
		out.Allowed = "text that matches " + f.RuleValue.String()
	}
	if out.Value == "" && f.FieldDescriptor == nil || !scalar(f.FieldDescriptor) {
		// A rule over several fields has no value of its own: its message says
		// what to do.
		out.Allowed, out.Hint = "", message
	}
	return out
}

// bothEnds is how the library words a range.
var bothEnds = regexp.MustCompile(`^must be greater than or equal to (\S+) and less than or equal to (\S+)$`)

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
