package chance

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"
	"gonum.org/v1/gonum/stat/samplemv"
)

// The points are those of a library, which rounds them otherwise where the
// processor has fused multiply-add.
func TestHaltonIsThatOfALibrary(t *testing.T) {
	const n, size = 40, 300
	points := make([][]float64, n)
	for j := range points {
		points[j] = make([]float64, size)
	}
	random := rand.New(rand.NewPCG(7, 1))
	for j, base := range primes(n) {
		halton(points[j], base, random)
	}
	want := mat.NewDense(size, n, nil)
	samplemv.Halton{Kind: samplemv.Owen, Q: distmv.NewUnitUniform(n, nil), Src: rand.NewPCG(7, 1)}.Sample(want)
	for j := range points {
		for i, u := range points[j] {
			if math.Abs(u-want.At(i, j)) > 4e-16 {
				t.Fatalf("coordinate %d of point %d is %v, want %v", j, i, u, want.At(i, j))
			}
		}
	}
}
