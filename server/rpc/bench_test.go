package rpc

import (
	"context"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// BenchmarkCompute is what one unary answer costs beside transport.
func BenchmarkCompute(b *testing.B) {
	service := NewTakeoffs(testValidator(b), testSnapshot(b), 1)
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
