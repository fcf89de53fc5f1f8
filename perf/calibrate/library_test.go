package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Quantiles are those of a library, which gives other last digits on other
// processors.
func TestQuantilesAreThoseOfALibrary(t *testing.T) {
	for k := 1; k < len(outlierLimit); k++ {
		if want := (distuv.ChiSquared{K: float64(k)}).Quantile(1 - 1e-3); math.Abs(outlierLimit[k]/want-1) > 1e-11 {
			t.Errorf("outlier limit of %d measures is %v, want %v", k, outlierLimit[k], want)
		}
	}
	for _, freedom := range []int{1, 2, 3, 4, 10, 11, 50, 333, 4000} {
		for _, probability := range []float64{0.05, 0.5, 0.8, 0.95, 0.999} {
			got := studentHalf(freedom, probability)
			want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(freedom)}.Quantile(0.5 + probability/2)
			if math.Abs(got/want-1) > 1e-9 {
				t.Errorf("%d degrees of freedom, probability %v: %v, want %v", freedom, probability, got, want)
			}
		}
	}
}

// Solutions and inverses are those of a library.
func TestMatricesAreThoseOfALibrary(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for n := 1; n < 12; n++ {
		m, theirs := newMatrix(n), mat.NewSymDense(n, nil)
		for k := range n + 2 {
			row := make([]float64, n)
			for i := range row {
				row[i] = random.NormFloat64() * float64(k+1)
			}
			for i := range n {
				for j := range i + 1 {
					m[i][j] += row[i] * row[j]
					theirs.SetSym(i, j, theirs.At(i, j)+row[i]*row[j])
				}
			}
		}
		right := make([]float64, n)
		for i := range right {
			right[i] = random.NormFloat64()
		}
		var chol mat.Cholesky
		var x mat.VecDense
		var inverse mat.SymDense
		if !chol.Factorize(theirs) || chol.SolveVecTo(&x, mat.NewVecDense(n, right)) != nil || chol.InverseTo(&inverse) != nil {
			t.Fatal("the library does not solve it")
		}
		lower, ok := m.factor()
		if !ok {
			t.Fatalf("a matrix of %d is not positive definite", n)
		}
		for i, v := range lower.solve(right) {
			if math.Abs(v-x.AtVec(i)) > 1e-9*(1+math.Abs(v)) {
				t.Errorf("unknown %d of %d is %v, want %v", i, n, v, x.AtVec(i))
			}
			for j, v := range lower.inverse()[i] {
				if math.Abs(v-inverse.At(i, j)) > 1e-9*(1+math.Abs(v)) {
					t.Errorf("inverse %d, %d of %d is %v, want %v", i, j, n, v, inverse.At(i, j))
				}
			}
		}
	}
	if _, ok := (matrix{{1, 0}, {2, 1}}).factor(); ok {
		t.Error("a matrix that is not positive definite has a factor")
	}
}
