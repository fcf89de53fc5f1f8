package refusal

import (
	"fmt"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Screen holds requests against the contract before a service sees them. One
// is made at start, with every rule compiled, and used by every entry. It is
// safe for concurrent use.
type Screen struct {
	rules *rules
	// apart are the fields that a service judges itself, value by value, so
	// that one bad item of a batch does not fail the rest.
	apart map[protoreflect.FullName]bool
}

// NewScreen compiles the rules of every request of the services.
func NewScreen(services ...protoreflect.ServiceDescriptor) (*Screen, error) {
	s := &Screen{apart: map[protoreflect.FullName]bool{}}
	var warm []protoreflect.MessageDescriptor
	for _, service := range services {
		methods := service.Methods()
		for i := range methods.Len() {
			input := methods.Get(i).Input()
			warm = append(warm, input)
			fields := input.Fields()
			for j := range fields.Len() {
				if fd := fields.Get(j); judgedApart(fd) {
					s.apart[fd.FullName()] = true
					warm = append(warm, fd.Message())
				}
			}
		}
	}
	compiled, err := protovalidate.New(protovalidate.WithMessageDescriptors(warm...))
	if err != nil {
		return nil, fmt.Errorf("the contract's rules do not compile: %w", err)
	}
	quick, err := newQuick(warm)
	if err != nil {
		return nil, err
	}
	s.rules = &rules{Validator: compiled, quick: quick}
	return s, nil
}

// Validator returns the compiled rules. [Check] is quicker with them than with
// those of another maker.
func (s *Screen) Validator() protovalidate.Validator { return s.rules }

// judgedApart says whether the contract leaves fd's value, or its items, to the
// service.
func judgedApart(fd protoreflect.FieldDescriptor) bool {
	if fd.Message() == nil || fd.IsMap() {
		return false
	}
	rules := rulesOf(fd)
	return rules.GetIgnore() == validate.Ignore_IGNORE_ALWAYS ||
		rules.GetRepeated().GetItems().GetIgnore() == validate.Ignore_IGNORE_ALWAYS
}

// Request returns every fault of a request but those inside what the service
// judges itself. Where there are any, the faults inside single values that the
// service judges are added, so that the caller learns of all of them at once.
func (s *Screen) Request(m proto.Message) ([]*bowrollv1.Violation, error) {
	if s.rules.sound(m, true) {
		return nil, nil
	}
	r := m.ProtoReflect()
	found := strict("", r, func(fd protoreflect.FieldDescriptor) bool { return s.apart[fd.FullName()] })
	byRule, err := ruleFaults(s.rules, "", m)
	if err != nil {
		return nil, err
	}
	if len(found)+len(byRule) == 0 {
		return nil, nil
	}
	fields := r.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if !s.apart[fd.FullName()] || fd.IsList() || !r.Has(fd) {
			continue
		}
		inner := r.Get(fd).Message()
		found = append(found, strict(string(fd.Name()), inner, nil)...)
		more, err := ruleFaults(s.rules, string(fd.Name()), inner.Interface())
		if err != nil {
			return nil, err
		}
		byRule = append(byRule, more...)
	}
	return arrange("", r.Descriptor(), found, byRule), nil
}

// Check returns every fault of m by itself: what it holds that the contract
// does not know, numbers that are not finite, and what the contract's rules
// find, each with prefix and a dot before its path. An error is a fault of the
// rules themselves.
func Check(v protovalidate.Validator, prefix string, m proto.Message) ([]*bowrollv1.Violation, error) {
	if own, ok := v.(*rules); ok && own.sound(m, false) {
		return nil, nil
	}
	found := strict(prefix, m.ProtoReflect(), nil)
	byRule, err := ruleFaults(v, prefix, m)
	if err != nil {
		return nil, err
	}
	return arrange(prefix, m.ProtoReflect().Descriptor(), found, byRule), nil
}
