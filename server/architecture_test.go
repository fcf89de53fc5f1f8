package server_test

import (
	"context"
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

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
)

var answersFile = flag.String("answers", "", "file of the answers that another architecture gave, for TestArchitecturesAnswerAlike; written where there is none")

// given is a reference take-off and the answer to it.
type given struct {
	Digest string
	Answer []byte
}

// The whole service answers the reference take-offs as it does on another
// architecture: the same digest of the request to the byte, the same words and
// counts, every number within 1e-9. .ci/arm64 runs it on both.
func TestArchitecturesAnswerAlike(t *testing.T) {
	if *answersFile == "" {
		t.Skip("needs the answers of another architecture: .ci/arm64 has them")
	}
	c, _ := inProcess(t)
	var got []given
	for _, one := range vectorCases(t) {
		answer, err := c.Takeoffs.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{Case: one})
		if err != nil {
			t.Fatal(err)
		}
		digest := answer.GetProvenance().GetRequestDigest()
		answer.Provenance = nil // the build names its architecture
		bytes, err := proto.Marshal(answer)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, given{digest, bytes})
	}
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
	a := agreement{t: t}
	whole := 0
	for i := range got {
		if got[i].Digest != want[i].Digest {
			t.Errorf("take-off %d: the request is %s here and %s there", i, got[i].Digest, want[i].Digest)
		}
		var here, there bowrollv1.Takeoff
		if err := errors.Join(proto.Unmarshal(got[i].Answer, &here), proto.Unmarshal(want[i].Answer, &there)); err != nil {
			t.Fatal(err)
		}
		if string(canonical.Append(nil, &here)) == string(canonical.Append(nil, &there)) {
			whole++
		}
		a.compare(fmt.Sprintf("take-off %d", i), here.ProtoReflect(), there.ProtoReflect())
	}
	fmt.Printf("%d take-offs: %d answers and %d of %d numbers the same to the bit, the rest within %.1g; every request has one digest\n",
		len(got), whole, a.same, a.numbers, a.worst)
}

// agreement holds messages against each other, number by number.
type agreement struct {
	t             *testing.T
	numbers, same int
	worst         float64
}

func (a *agreement) compare(at string, here, there protoreflect.Message) {
	for i := range here.Descriptor().Fields().Len() {
		field := here.Descriptor().Fields().Get(i)
		path := at + "." + string(field.Name())
		if here.Has(field) != there.Has(field) {
			a.t.Errorf("%s is given on one and not on the other", path)
			continue
		}
		if !here.Has(field) {
			continue
		}
		switch {
		case field.IsList():
			one, other := here.Get(field).List(), there.Get(field).List()
			if one.Len() != other.Len() {
				a.t.Errorf("%s has %d here and %d there", path, one.Len(), other.Len())
				continue
			}
			for k := range one.Len() {
				a.value(fmt.Sprintf("%s[%d]", path, k), field, one.Get(k), other.Get(k))
			}
		case field.IsMap():
			a.t.Errorf("%s is a map: compare it too", path)
		default:
			a.value(path, field, here.Get(field), there.Get(field))
		}
	}
}

func (a *agreement) value(path string, field protoreflect.FieldDescriptor, here, there protoreflect.Value) {
	switch {
	case field.Message() != nil:
		a.compare(path, here.Message(), there.Message())
	case field.Kind() == protoreflect.DoubleKind:
		a.numbers++
		one, other := here.Float(), there.Float()
		if one == other {
			a.same++
			return
		}
		// A margin is a small difference of large numbers: below 1 in its unit the
		// figure is absolute.
		off := math.Abs(one-other) / max(1, math.Abs(other))
		a.worst = max(a.worst, off)
		if !(off <= 1e-9) {
			a.t.Errorf("%s is %.17g here and %.17g there", path, one, other)
		}
	case !here.Equal(there):
		a.t.Errorf("%s is %v here and %v there", path, here, there)
	}
}
