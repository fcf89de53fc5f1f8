package refusal

import (
	"math"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout"
)

// rules are the contract's rules twice: as protovalidate has them, which judges
// every message that may be faulty and words every fault, and as a quick look
// that most messages pass. The quick look knows the common rules and no others. It
// never says that a message is faulty, only that it surely is not.
type rules struct {
	protovalidate.Validator
	quick map[*layout.Message]*quickMessage
}

// quickMessage are the rules of one message type.
type quickMessage struct {
	// unsure is set where a rule of the whole message is not known here.
	unsure bool
	fields []quickField
	groups []quickGroup
}

// quickField are the rules of one field.
type quickField struct {
	*layout.Field
	rule
	message *quickMessage
	// apart: left to the service, value by value. As a value inside another it is
	// not known here.
	apart    bool
	required bool
	// absentSound: that it is absent is surely no fault.
	absentSound         bool
	leastSize, mostSize int
	unique              bool
}

// quickGroup are fields of which one may be given, or must be.
type quickGroup struct {
	fields   []*layout.Field
	required bool
}

// newQuick compiles the quick look at messages of these types and all in them.
func newQuick(types []protoreflect.MessageDescriptor) (map[*layout.Message]*quickMessage, error) {
	quick := map[*layout.Message]*quickMessage{}
	for _, of := range types {
		l, err := layout.Named(of.FullName())
		if err != nil {
			return nil, err
		}
		compileQuick(l, quick)
	}
	return quick, nil
}

func compileQuick(l *layout.Message, quick map[*layout.Message]*quickMessage) *quickMessage {
	if q := quick[l]; q != nil {
		return q
	}
	q := &quickMessage{}
	quick[l] = q
	whole, _ := proto.GetExtension(l.Descriptor.Options(), validate.E_Message).(*validate.MessageRules)
	q.unsure = !only(whole, "oneof")
	for _, one := range whole.GetOneof() {
		group := quickGroup{required: one.GetRequired()}
		for _, name := range one.GetFields() {
			for _, f := range l.Fields {
				if string(f.Descriptor.Name()) == name {
					group.fields = append(group.fields, f)
				}
			}
		}
		q.groups = append(q.groups, group)
	}
	for i := range l.Descriptor.Oneofs().Len() {
		of, _ := proto.GetExtension(l.Descriptor.Oneofs().Get(i).Options(), validate.E_Oneof).(*validate.OneofRules)
		q.unsure = q.unsure || !only(of)
	}
	for _, f := range l.Fields {
		field := newQuickField(f)
		if f.Message != nil {
			field.message = compileQuick(f.Message, quick)
		}
		field.absentSound = !field.required && field.absent()
		q.fields = append(q.fields, field)
	}
	return q
}

func newQuickField(f *layout.Field) quickField {
	of := rulesOf(f.Descriptor)
	q := quickField{Field: f, mostSize: math.MaxInt, required: of.GetRequired(), apart: judgedApart(f.Descriptor)}
	switch {
	case of.GetIgnore() != validate.Ignore_IGNORE_UNSPECIFIED:
		q.unsure = !q.apart
	case f.List:
		list := of.GetRepeated()
		q.unsure = !only(of, "required", "repeated") || !only(list, "min_items", "max_items", "unique", "items")
		q.leastSize, q.unique = int(list.GetMinItems()), list.GetUnique()
		if list.HasMaxItems() {
			q.mostSize = int(min(list.GetMaxItems(), math.MaxInt32))
		}
		if !q.unsure && !q.apart {
			q.rule = newRule(f.Descriptor, list.GetItems())
		}
		// Whatever is unique and no name costs more to compare than it saves.
		q.unsure = q.unsure || q.unique && f.Kind != protoreflect.EnumKind
	default:
		q.rule = newRule(f.Descriptor, of)
	}
	return q
}

// only tells whether a message of rules, which may be nil, sets these fields and
// no others.
func only(m proto.Message, names ...protoreflect.Name) bool {
	r := m.ProtoReflect()
	known := len(r.GetUnknown()) == 0
	r.Range(func(fd protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		found := false
		for _, name := range names {
			found = found || fd.Name() == name && !fd.IsExtension()
		}
		known = known && found
		return known
	})
	return known
}

// sound tells that a message surely has no fault: all that it holds is known, its
// numbers are finite and no minus zero, its texts plain, and the contract's rules
// find nothing. Where skipApart is set, what the service judges itself, value by
// value, is passed over.
func (r *rules) sound(m proto.Message, skipApart bool) bool {
	l, v := layout.Of(m)
	q := r.quick[l]
	return q != nil && q.sound(l, v, skipApart)
}

func (q *quickMessage) sound(l *layout.Message, m layout.Value, skipApart bool) bool {
	if q.unsure || l.HasUnknown(m) {
		return false
	}
	for i := range q.fields {
		f := &q.fields[i]
		v, present := f.Get(m)
		if !present {
			if !f.absentSound {
				return false
			}
			continue
		}
		if !f.sound(v, skipApart) {
			return false
		}
	}
	for _, group := range q.groups {
		count := 0
		for _, f := range group.fields {
			if _, present := f.Get(m); present {
				count++
			}
		}
		if count > 1 || count == 0 && group.required {
			return false
		}
	}
	return true
}

// absent tells that a field that is not there is no fault of its own. What has no
// presence is judged as the zero that it reads as; a rule that is not known may ask
// for what is absent.
func (f *quickField) absent() bool {
	switch {
	case f.unsure:
		return false
	case f.List:
		return f.leastSize == 0
	case f.apart, f.Presence:
		return true
	}
	return f.rule.holds(layout.Zero())
}

// sound judges a value that is there.
func (f *quickField) sound(v layout.Value, skipApart bool) bool {
	switch {
	case f.unsure:
		return false
	case f.List:
		if v.Len() < f.leastSize || v.Len() > f.mostSize || f.unique && repeats(f.Field, v) {
			return false
		}
		if f.apart {
			return skipApart
		}
		for i := range v.Len() {
			if !f.one(f.At(v, i)) {
				return false
			}
		}
		return true
	case f.apart:
		return skipApart
	}
	return f.one(v)
}

// one judges one value.
func (f *quickField) one(v layout.Value) bool {
	if f.Message != nil {
		return f.message.sound(f.Field.Message, v, false)
	}
	return f.rule.holds(v)
}

// repeats tells whether an element of a list of names stands twice.
func repeats(f *layout.Field, list layout.Value) bool {
	for i := range list.Len() {
		for j := range i {
			if f.At(list, i).Int32() == f.At(list, j).Int32() {
				return true
			}
		}
	}
	return false
}
