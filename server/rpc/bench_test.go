package rpc

import (
	"context"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// BenchmarkCompute is what one unary answer costs beside transport.
func BenchmarkCompute(b *testing.B) {
	screen, err := refusal.NewScreen(bowrollv1.File_bowroll_v1_takeoff_proto.Services().ByName("Takeoffs"))
	if err != nil {
		b.Fatal(err)
	}
	service := NewTakeoffs(screen.Validator(), testSnapshot(b), 1)
	c := sample()
	c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)}
	request := &bowrollv1.TakeoffsComputeRequest{Case: c}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := service.Compute(context.Background(), request); err != nil {
			b.Fatal(err)
		}
	}
}
