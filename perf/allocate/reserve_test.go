package allocate

import (
	"math"
	"testing"
)

func TestLogFactorial(t *testing.T) {
	for n := 0; n < 300_000; n += 1 + n/50 {
		want, _ := math.Lgamma(float64(n + 1))
		if got := logFactorial(n); math.Abs(got-want) > 4e-16*max(1, want) {
			t.Errorf("ln %d! is %v, want %v", n, got, want)
		}
	}
}
