package canonical_test

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
)

func air(temperature float64) *bowrollv1.Air {
	return &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(temperature)}
}

func TestDigestFollowsMeaning(t *testing.T) {
	if canonical.Digest(air(0)) != canonical.Digest(air(math.Copysign(0, -1))) {
		t.Error("negative zero must digest as zero")
	}
	if canonical.Digest(air(0)) == canonical.Digest(&bowrollv1.Air{PressurePa: proto.Float64(101325)}) {
		t.Error("zero must not digest as absent")
	}
	if canonical.Digest(air(15)) == canonical.Digest(air(15.000000000000002)) {
		t.Error("neighbouring doubles must digest apart")
	}
}

func TestDigestLeavesProvenanceOut(t *testing.T) {
	plain := &bowrollv1.AircraftType{Name: "aircraftTypes/corvane"}
	marked := &bowrollv1.AircraftType{
		Name:       "aircraftTypes/corvane",
		Provenance: &bowrollv1.Provenance{ModelVersion: "1.0.0"},
	}
	if canonical.Digest(plain) != canonical.Digest(marked) {
		t.Error("provenance must not enter the digest")
	}
}

// Two messages after each other must not digest as one that holds both.
func TestDigestSeparatesMessages(t *testing.T) {
	a := &bowrollv1.Air{PressurePa: proto.Float64(101325)}
	b := &bowrollv1.Air{TemperatureC: proto.Float64(15)}
	if canonical.Digest(a, b) == canonical.Digest(air(15)) {
		t.Error("messages run into each other")
	}
}

// The form is fixed: these bytes change only with the form's description.
func TestFormIsFixed(t *testing.T) {
	const want = "sha256:" // completed below from the written-down form
	got := canonical.Append(nil, air(1))
	form := []byte{
		0, 0, 0, 1, 0x40, 0xf8, 0xbc, 0xd0, 0, 0, 0, 0,
		0, 0, 0, 5, 0x3f, 0xf0, 0, 0, 0, 0, 0, 0,
		0, 0, 0, 0,
	}
	if string(got) != string(form) {
		t.Errorf("canonical form %x, want %x", got, form)
	}
	if d := canonical.Digest(air(1)); len(d) != len(want)+32 || d[:len(want)] != want {
		t.Errorf("digest %q is not %q and 32 digits", d, want)
	}
}

// Remembering sums changes no digest, and what is sealed still counts.
func TestSealsChangeNoDigest(t *testing.T) {
	kind := &bowrollv1.AircraftType{Name: "aircraftTypes/corvane", SpanM: proto.Float64(18)}
	request := &bowrollv1.TakeoffCase{Aircraft: kind, Flap: "takeoff"}
	var seals canonical.Seals
	canonical.Seal(&seals, []*bowrollv1.AircraftType{kind})
	if seals.Digest(request) != canonical.Digest(request) {
		t.Error("a remembered sum gave another digest")
	}
	longer := &bowrollv1.TakeoffCase{Aircraft: proto.CloneOf(kind), Flap: "takeoff"}
	longer.Aircraft.SpanM = proto.Float64(19)
	if canonical.Digest(longer) == canonical.Digest(request) {
		t.Error("a change inside a sealed message did not change the digest")
	}
}

func TestAnAbsentMessageIsAnEmptyOne(t *testing.T) {
	var absent *bowrollv1.Policy
	if got, want := canonical.Digest(absent), canonical.Digest(&bowrollv1.Policy{}); got != want {
		t.Errorf("%s and %s", got, want)
	}
}
