package sweep

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Quantiles are those of a library, which gives other last digits on other
// processors.
func TestQuantilesAreThoseOfALibrary(t *testing.T) {
	normal := &bowrollv1.SweepDistribution{Shape: bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL,
		MiddleValue: proto.Float64(4), Sigma: proto.Float64(2), LeastValue: proto.Float64(-1), GreatestValue: proto.Float64(12)}
	triangular := &bowrollv1.SweepDistribution{Shape: bowrollv1.SweepShape_SWEEP_SHAPE_TRIANGULAR,
		MiddleValue: proto.Float64(4), LeastValue: proto.Float64(-1), GreatestValue: proto.Float64(12)}
	n := distuv.Normal{Mu: 4, Sigma: 2}
	low, high := n.CDF(-1), n.CDF(12)
	for i := range 1000 {
		u := float64(i) / 1000
		for _, c := range []struct{ got, want float64 }{
			{quantile(normal, u), n.Quantile(low + u*(high-low))},
			{quantile(triangular, u), distuv.NewTriangle(-1, 12, 4, nil).Quantile(u)},
		} {
			if math.Abs(c.got-c.want) > 1e-12 {
				t.Errorf("at %v: %v, want %v", u, c.got, c.want)
			}
		}
	}
}
