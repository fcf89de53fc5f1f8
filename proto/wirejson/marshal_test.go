package wirejson

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func TestEveryFieldIsShown(t *testing.T) {
	for _, c := range []struct {
		m    proto.Message
		want string
	}{
		{&bowrollv1.BatchSummary{GetsOffCount: 3},
			`{"item_count":0,"answered_count":0,"refused_count":0,"gets_off_count":3}`},
		{&bowrollv1.Finding{Outcome: bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG, Limit: proto.Float64(0), Text: "a \"b\"\n\x01é<"},
			`{"outcome":"OUTCOME_RUN_TOO_LONG","quantity":"","value":null,"limit":0,"shortfall":null,"changes":[],"text":"a \"b\"\n\u0001é<"}`},
		{&bowrollv1.TakeoffItem{Status: &bowrollv1.ItemStatus{Code: "OK"}},
			`{"index":0,"id":"","status":{"code":"OK","message":"","violations":[]},"takeoff":null}`},
	} {
		got, err := Marshal(c.m)
		if err != nil || string(got) != c.want {
			t.Errorf("got  %s, %v\nwant %s", got, err, c.want)
		}
	}
}

func TestInstantsAreUTC(t *testing.T) {
	got, err := Marshal(&bowrollv1.Cycle{StartTime: &timestamppb.Timestamp{Seconds: 1_900_000_000}})
	if err != nil || !strings.Contains(string(got), `"start_time":"2030-03-17T17:46:40Z"`) {
		t.Error(string(got), err)
	}
}

func TestDoubles(t *testing.T) {
	for value, want := range map[float64]string{
		0: "0", 1: "1", -0.5: "-0.5", 1e-6: "0.000001", 1e-7: "1e-7", 1e20: "100000000000000000000", 1e21: "1e+21",
		0.30000000000000004: "0.30000000000000004", 5e-324: "5e-324", -1.5e-9: "-1.5e-9",
	} {
		got, err := Marshal(&bowrollv1.Change{Change: value})
		if want := `{"quantity":"","change":` + want + `,"text":""}`; err != nil || string(got) != want {
			t.Errorf("%v: %s, want %s, %v", value, got, want, err)
		}
	}
}

func TestWhatHasNoJSONFormIsAnError(t *testing.T) {
	for _, m := range []proto.Message{
		&bowrollv1.Change{Change: math.NaN()},
		&bowrollv1.Finding{Changes: []*bowrollv1.Change{{Change: math.Inf(-1)}}},
		&bowrollv1.Change{Text: "\xff"},
	} {
		if got, err := Marshal(m); err == nil {
			t.Errorf("no error, %s", got)
		}
	}
}

func BenchmarkMarshal(b *testing.B) {
	m := &bowrollv1.BatchSummary{ItemCount: 1, GetsOffCount: 3}
	f := &bowrollv1.Finding{Value: proto.Float64(12.25), Text: "required run is longer than the run available"}
	buf := make([]byte, 0, 4096)
	for b.Loop() {
		buf, _ = Append(buf[:0], m)
		buf, _ = Append(buf, f)
	}
}
