package server_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/sweep"
)

var answersFile = flag.String("answers", "", "file of the answers that another architecture gave, for TestArchitecturesAnswerAlike; written where there is none")

// given is what was asked and the answer to it.
type given struct {
	Name, Digest string
	Canonical    []byte
	Type         protoreflect.FullName // of Answer, empty where it is no message
	Answer       []byte
}

// onAnyCase are the parts of an answer that can be asked for of any take-off.
var onAnyCase = []bowrollv1.Section{
	bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING, bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_WORTH,
	bowrollv1.Section_SECTION_CHANCE, bowrollv1.Section_SECTION_SENSITIVITIES, bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_FRICTION,
}

// armedCase is a case that tells all that can be asked for: how units are let go
// and fired, and a firing that is planned.
const armedCase = `{"id":"a","aircraft_type":"aircraftTypes/halbrook","flap":"takeoff","gross_mass_kg":4800,` +
	`"air":{"pressure_pa":101000,"temperature_c":3},"headwind_mps":3,"deck":"sites/varrow/decks/main","spot":"s5",` +
	`"boosters":{"count":2,"booster_type":"boosterTypes/emberlin-6","grain_temperature_c":20,"firing":{"mode":"FIRING_MODE_PLANNED"},` +
	`"release":{"height_m":150,"above":"DATUM_SEA","airspeed_mps":55,"climb_angle_deg":4,"release_sigma_s":0.4,"wind_sigma_mps":1.5,"tumbling_sigma":0.06,"sigma_factor":3},` +
	`"firing_supply":{"wiring":"WIRING_SERIES","source_v":28,"source_ohm":0.3,"cable_ohm":0.8,"lead_ohm":0.1,"test_a":0.04}}}`

// The whole service answers as it does on another architecture, to the bit: the
// same digest of the request, the same canonical bytes of the answer. .ci/arm64
// runs it on both.
func TestArchitecturesAnswerAlike(t *testing.T) {
	if *answersFile == "" {
		t.Skip("needs the answers of another architecture: .ci/arm64 has them")
	}
	got := givenHere(t)
	text, err := os.ReadFile(*answersFile)
	if errors.Is(err, fs.ErrNotExist) {
		if text, err = json.Marshal(got); err == nil {
			err = os.WriteFile(*answersFile, text, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	var want []given
	if err == nil {
		err = json.Unmarshal(text, &want)
	}
	if err != nil || len(want) != len(got) {
		t.Fatalf("%d answers where there were %d: %v", len(got), len(want), err)
	}
	numbers := 0
	for i := range got {
		here, there := got[i], want[i]
		if here.Name != there.Name || here.Digest != there.Digest {
			t.Errorf("request %s %s here, %s %s there", here.Name, here.Digest, there.Name, there.Digest)
		}
		c := comparison{t: t}
		if here.Type != "" {
			c.compare(here.Name, here.message(t), there.message(t))
			numbers += c.numbers
		}
		if !bytes.Equal(here.Canonical, there.Canonical) && c.differences == 0 {
			t.Errorf("the canonical bytes of %s differ", here.Name)
		}
	}
	if t.Failed() {
		return
	}
	fmt.Printf("%d requests and their answers are the same to the bit, with %d numbers\n", len(got), numbers)
}

// givenHere asks the service: the reference take-offs alone, with every section
// for some of them, the worked calls of all that is computed, and the rows that
// sweeps draw.
func givenHere(t *testing.T) (list []given) {
	t.Helper()
	c, h := inProcess(t)
	note := func(name string, answer proto.Message) {
		bytes, err := proto.Marshal(answer)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, given{name, requestDigest(answer), canonical.Append(nil, answer), answer.ProtoReflect().Descriptor().FullName(), bytes})
	}
	for i, one := range vectorCases(t) {
		request := &bowrollv1.TakeoffsComputeRequest{Case: one}
		if i%6 == 0 {
			request.Sections = onAnyCase
		}
		answer, err := c.Takeoffs.Compute(context.Background(), request)
		if err != nil {
			t.Fatal(one.GetId(), err)
		}
		note(one.GetId(), answer)
	}
	armed := &bowrollv1.TakeoffsComputeRequest{Case: into(t, armedCase, &bowrollv1.TakeoffCase{}), Sections: append([]bowrollv1.Section{
		bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_DROP_ZONE, bowrollv1.Section_SECTION_EXHAUST,
		bowrollv1.Section_SECTION_CIRCUIT, bowrollv1.Section_SECTION_BOX,
	}, onAnyCase...)}
	answer, err := c.Takeoffs.Compute(context.Background(), armed)
	if err != nil {
		t.Fatal(err)
	}
	note("armed", answer)
	askAll(t, c, h, note)
	askWorked(t, h, []string{"Takeoffs.CheckBox", "Model.Check", "Model.CheckVectors"}, note)
	return append(list, drawn())
}

// drawn are the inputs of the rows of a sweep that draws them.
func drawn() given {
	distribution := func(shape bowrollv1.SweepShape) *bowrollv1.SweepDistribution {
		return &bowrollv1.SweepDistribution{Shape: shape, LeastValue: proto.Float64(-3.1), GreatestValue: proto.Float64(7.3),
			MiddleValue: proto.Float64(1.7), Sigma: proto.Float64(2.9)}
	}
	plan := sweep.NewPlan(&bowrollv1.SweepSpec{
		Method: bowrollv1.SweepMethod_SWEEP_METHOD_LATIN_HYPERCUBE, RowCount: proto.Int32(500), Seed: proto.Int32(3),
		Axes: []*bowrollv1.SweepAxis{
			{Field: "headwind_mps", Distribution: distribution(bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL)},
			{Field: "crosswind_mps", Distribution: distribution(bowrollv1.SweepShape_SWEEP_SHAPE_TRIANGULAR)},
			{Field: "gross_mass_kg", Distribution: distribution(bowrollv1.SweepShape_SWEEP_SHAPE_UNIFORM)},
		},
	})
	out := given{Name: "sweep"}
	inputs := make([]float64, len(plan.Axes))
	for row := range plan.Rows {
		plan.Inputs(row, inputs)
		for _, v := range inputs {
			out.Canonical = binary.BigEndian.AppendUint64(out.Canonical, math.Float64bits(v))
		}
	}
	return out
}

func (g given) message(t *testing.T) protoreflect.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(g.Type)
	if err != nil {
		t.Fatal(err)
	}
	m := kind.New()
	if err := proto.Unmarshal(g.Answer, m.Interface()); err != nil {
		t.Fatal(err)
	}
	return m
}

// comparison names the fields in which two messages differ.
type comparison struct {
	t                    *testing.T
	numbers, differences int
}

func (c *comparison) differ(format string, args ...any) {
	c.t.Helper()
	if c.differences++; c.differences < 20 {
		c.t.Errorf(format, args...)
	}
}

func (c *comparison) compare(at string, here, there protoreflect.Message) {
	if here.Descriptor().FullName() == "bowroll.v1.Provenance" {
		return // the build names its architecture
	}
	for i := range here.Descriptor().Fields().Len() {
		field := here.Descriptor().Fields().Get(i)
		path := at + "." + string(field.Name())
		if here.Has(field) != there.Has(field) {
			c.differ("%s is given on one and not on the other", path)
			continue
		}
		if !here.Has(field) {
			continue
		}
		switch {
		case field.IsList():
			one, other := here.Get(field).List(), there.Get(field).List()
			if one.Len() != other.Len() {
				c.differ("%s has %d here and %d there", path, one.Len(), other.Len())
				continue
			}
			for k := range one.Len() {
				c.value(fmt.Sprintf("%s[%d]", path, k), field, one.Get(k), other.Get(k))
			}
		case field.IsMap():
			c.differ("%s is a map: compare it too", path)
		default:
			c.value(path, field, here.Get(field), there.Get(field))
		}
	}
}

func (c *comparison) value(path string, field protoreflect.FieldDescriptor, here, there protoreflect.Value) {
	switch {
	case field.Message() != nil:
		c.compare(path, here.Message(), there.Message())
	case field.Kind() == protoreflect.DoubleKind:
		c.numbers++
		if math.Float64bits(here.Float()) != math.Float64bits(there.Float()) {
			c.differ("%s is %.17g here and %.17g there", path, here.Float(), there.Float())
		}
	case !here.Equal(there):
		c.differ("%s is %v here and %v there", path, here, there)
	}
}
