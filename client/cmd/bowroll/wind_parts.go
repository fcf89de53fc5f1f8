package main

import (
	"reflect"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// each calls set for every flag of a case that was given.
func (f *caseFlags) each(set func(path, value, flag string)) {
	values, flags := reflect.ValueOf(f).Elem(), reflect.TypeFor[caseFlags]()
	for i := range flags.NumField() {
		field := flags.Field(i)
		if path := field.Tag.Get("path"); path != "" && values.Field(i).String() != "" {
			set(path, values.Field(i).String(), flagName(field.Name))
		}
	}
}

// withoutEnvelopes is an answer with its directions left out.
func withoutEnvelopes(limits *bowrollv1.WindLimitsComputeResponse) *bowrollv1.WindLimitsComputeResponse {
	limits = proto.CloneOf(limits)
	for _, l := range limits.GetLimits() {
		l.Envelope = nil
	}
	return limits
}

// load says in a few words what a load is, without its units.
func load(asked *bowrollv1.TakeoffCase) string {
	bare := proto.CloneOf(asked)
	bare.Boosters = nil
	words := about(bare)
	if asked.GetFlap() != "" {
		words += ", flap " + asked.GetFlap()
	}
	return words
}

func angle(written string) (float64, error) { return quantity.Parse(quantity.Angle, written) }
