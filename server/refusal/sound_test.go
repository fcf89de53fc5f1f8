package refusal

import (
	"math/rand/v2"
	"regexp"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/layout/layouttest"
)

func newRules(t testing.TB) *rules {
	t.Helper()
	var services []protoreflect.ServiceDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		bowrollv1.File_bowroll_v1_takeoff_proto, bowrollv1.File_bowroll_v1_cycle_proto, bowrollv1.File_bowroll_v1_stock_proto,
		bowrollv1.File_bowroll_v1_catalog_proto, bowrollv1.File_bowroll_v1_plans_proto, bowrollv1.File_bowroll_v1_wind_proto,
	} {
		for i := range file.Services().Len() {
			services = append(services, file.Services().Get(i))
		}
	}
	s, err := NewScreen(services...)
	if err != nil {
		t.Fatal(err)
	}
	return s.rules
}

// held fails where the quick look passes a message in which anything is at fault.
func held(t *testing.T, r *rules, m proto.Message) (passed bool) {
	t.Helper()
	if !r.sound(m, false) {
		return false
	}
	before := proto.CloneOf(m)
	if faults := strict("", m.ProtoReflect(), nil); len(faults) > 0 || !proto.Equal(before, m) {
		t.Fatalf("passed, though %v\n%v", faults, m)
	}
	if err := r.Validate(m); err != nil {
		t.Fatalf("passed, though %v\n%v", err, m)
	}
	return true
}

// The quick look passes nothing that protovalidate or the walk over all values
// finds a fault in: random messages of every type, and sound take-offs with one
// thing changed.
func TestTheQuickLookPassesNothingFaulty(t *testing.T) {
	rules := newRules(t)
	r := rand.New(rand.NewPCG(5, 6))
	passed := 0
	for _, of := range layouttest.Types() {
		for range 20 {
			m := of.New()
			layouttest.Fill(r, m, r.IntN(4), true)
			if held(t, rules, m.Interface()) {
				passed++
			}
		}
	}
	if passed < 150 {
		t.Errorf("only %d random messages passed: too few to try the quick look on", passed)
	}
	passed = 0
	const tries = 2000
	for range tries {
		m := soundCase()
		spoilOne(r, m.ProtoReflect())
		if held(t, rules, m) {
			passed++
		}
	}
	if passed < tries/20 || passed > tries*19/20 {
		t.Errorf("%d of %d spoilt take-offs passed", passed, tries)
	}
}

// soundCase is a take-off without a fault.
func soundCase() *bowrollv1.TakeoffCase {
	return &bowrollv1.TakeoffCase{
		Id: "a-1", AircraftType: "aircraftTypes/heron", Flap: "takeoff", GrossMassKg: proto.Float64(4800),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: proto.Float64(28)},
		HeadwindMps: proto.Float64(9), Deck: "sites/varrow/decks/main", Spot: "s5",
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
		},
	}
}

// spoilOne changes one field of a message or of one in it to whatever it may
// hold.
func spoilOne(r *rand.Rand, m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	fd := fields.Get(r.IntN(fields.Len()))
	if fd.Message() != nil && !fd.IsList() && !fd.IsMap() && m.Has(fd) {
		spoilOne(r, m.Mutable(fd).Message())
		return
	}
	m.Clear(fd)
	other := m.New()
	layouttest.Fill(r, other, 2, true)
	if other.Has(fd) {
		m.Set(fd, other.Get(fd))
	}
}

// What every request on the way to a take-off holds is known to the quick look,
// or it saves nothing.
func TestOrdinaryTakeoffsPassTheQuickLook(t *testing.T) {
	rules := newRules(t)
	full := soundCase()
	full.Policy = &bowrollv1.Policy{RunFactor: proto.Float64(1.2), Legs: bowrollv1.Legs_LEGS_GO}
	full.Dispersions = &bowrollv1.Dispersions{HeadwindSigmaMps: proto.Float64(1)}
	full.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(270), SpeedMps: proto.Float64(8)}
	for _, m := range []*bowrollv1.TakeoffCase{soundCase(), full} {
		if !rules.sound(m, false) {
			t.Errorf("not known: %v", m)
		}
		request := &bowrollv1.TakeoffsComputeRequest{Case: m, Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES}}
		if !rules.sound(request, true) || !rules.sound(&bowrollv1.TakeoffsBatchComputeRequest{Cases: []*bowrollv1.TakeoffCase{m}}, true) {
			t.Errorf("not known as a request: %v", m)
		}
	}
}

func TestMatcherIsTheRegularExpression(t *testing.T) {
	patterns := []string{
		"^([a-z][a-z0-9-]{0,62})?$", "^[a-z][a-z0-9-]{0,62}$", "^(aircraftTypes/[a-z][a-z0-9-]{0,62})?$",
		"^sites/[a-z][a-z0-9-]{0,62}/decks/[a-z][a-z0-9-]{0,62}$", "^(boosterTypes/)?[a-z][a-z0-9-]{0,62}$", "^[a-z][a-z0-9-]{0,62}[a-z][a-z0-9-]{0,62}$", "^a?$",
	}
	r := rand.New(rand.NewPCG(7, 8))
	pieces := []string{"", "a", "0", "-", "/", "sites/", "/decks/", "aircraftTypes/", "boosterTypes/", "A", "é", "\n", "abcdefghijklmnopqrstuvwxyz01234"}
	matchers, expressions := map[string]func(string) bool{}, map[string]*regexp.Regexp{}
	for _, pattern := range patterns {
		matchers[pattern], expressions[pattern] = matcher(pattern), regexp.MustCompile(pattern)
	}
	for range 20000 {
		text := ""
		for range r.IntN(6) {
			text += pieces[r.IntN(len(pieces))]
		}
		for _, pattern := range patterns {
			if got, want := matchers[pattern](text), expressions[pattern].MatchString(text); got != want {
				t.Fatalf("%s on %q: %v", pattern, text, got)
			}
		}
	}
}

func BenchmarkCheck(b *testing.B) {
	rules := newRules(b)
	m := soundCase()
	b.ReportAllocs()
	for b.Loop() {
		if faults, err := Check(rules, "case", m); err != nil || len(faults) > 0 {
			b.Fatal(faults, err)
		}
	}
}
