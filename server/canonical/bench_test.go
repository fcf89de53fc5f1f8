package canonical_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
)

func BenchmarkDigest(b *testing.B) {
	m := &bowrollv1.TakeoffCase{Id: "a", Flap: "takeoff", Air: air(15), GrossMassKg: proto.Float64(4800),
		Aircraft: &bowrollv1.AircraftType{Name: "aircraftTypes/corvane", DisplayName: "Corvane", WingAreaM2: proto.Float64(30),
			Flaps:  []*bowrollv1.FlapSetting{{Id: "a", ClMax: proto.Float64(2)}, {Id: "b"}},
			Thrust: &bowrollv1.ThrustTable{AirspeedMps: make([]float64, 8), ThrustN: make([]float64, 8)},
		}}
	b.ReportAllocs()
	for b.Loop() {
		canonical.Digest(m)
	}
}
