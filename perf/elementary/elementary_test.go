package elementary_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bowroll/perf/elementary"
)

// apart is how many numbers a and b are from each other, 0 for two NaNs.
func apart(a, b float64) float64 {
	if a != a || b != b {
		if a != a && b != b {
			return 0
		}
		return math.Inf(1)
	}
	order := func(v float64) int64 {
		if v < 0 {
			return -int64(math.Float64bits(-v))
		}
		return int64(math.Float64bits(v))
	}
	return math.Abs(float64(order(a) - order(b)))
}

// function is one of ours beside that of package math, which may be out by a few
// units of the last place itself.
type function struct {
	name      string
	ours      func(x, y float64) float64
	theirs    func(x, y float64) float64
	low, high [2]float64 // of the arguments
	good      float64    // units of the last place that ours is good to
	most      float64    // units of the last place that the two may be apart
}

func one(f func(float64) float64) func(x, y float64) float64 {
	return func(x, _ float64) float64 { return f(x) }
}

func sin(x float64) float64 {
	s, _ := elementary.Sincos(x)
	return s
}

func normalBelow(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

func normalDensity(z float64) float64 { return math.Exp(-0.5*z*z) / math.Sqrt(2*math.Pi) }

func functions() []function {
	return []function{
		{"Exp", one(elementary.Exp), one(math.Exp), [2]float64{-708}, [2]float64{709}, 1, 3},
		{"Log", one(elementary.Log), one(math.Log), [2]float64{0}, [2]float64{10}, 1, 2},
		{"Log1p", one(elementary.Log1p), one(math.Log1p), [2]float64{-1}, [2]float64{1}, 1, 2},
		{"Pow", elementary.Pow, math.Pow, [2]float64{0, -6}, [2]float64{3, 6}, 1, 8},
		{"Cbrt", one(elementary.Cbrt), one(math.Cbrt), [2]float64{-1e9}, [2]float64{1e9}, 1, 2},
		{"Hypot", elementary.Hypot, math.Hypot, [2]float64{-1e3, -1e3}, [2]float64{1e3, 1e3}, 1, 2},
		{"Sin", one(sin), one(math.Sin), [2]float64{-10}, [2]float64{10}, 1, 2},
		{"Cos", one(elementary.Cos), one(math.Cos), [2]float64{-10}, [2]float64{10}, 1, 2},
		{"Atan2", elementary.Atan2, math.Atan2, [2]float64{-1, -1}, [2]float64{1, 1}, 1, 3},
		{"Asin", one(elementary.Asin), one(math.Asin), [2]float64{-0.7}, [2]float64{0.7}, 2, 3},
		{"NormalDensity", one(elementary.NormalDensity), one(normalDensity), [2]float64{-2}, [2]float64{2}, 2, 4},
		{"NormalBelow", one(elementary.NormalBelow), one(normalBelow), [2]float64{-2}, [2]float64{9}, 3, 10},
		{"NormalQuantile", one(elementary.NormalQuantile), one(normalQuantile), [2]float64{0.25}, [2]float64{0.4}, 3, 12},
	}
}

// Every function is within what is promised of values computed elsewhere with
// ninety digits.
func TestFunctionsAgreeWithValues(t *testing.T) {
	text, err := os.ReadFile("testdata/values.txt")
	if err != nil {
		t.Fatal(err)
	}
	worst := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		words := strings.Split(strings.TrimSpace(line), "\t")
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(words[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		at := slices.IndexFunc(functions(), func(f function) bool { return f.name == words[0] })
		if at < 0 {
			t.Fatalf("there is no %s", words[0])
		}
		f := functions()[at]
		off := apart(f.ours(v[0], v[1]), v[2])
		worst[f.name] = max(worst[f.name], off)
		if off > f.good {
			t.Errorf("%s(%v, %v) = %v is %.0f units of the last place from %v", f.name, v[0], v[1], f.ours(v[0], v[1]), off, v[2])
		}
	}
	if len(worst) != len(functions()) {
		t.Errorf("values of %d functions, of %d there are", len(worst), len(functions()))
	}
}

// Every function is that of package math, to a few of the last digits.
func TestFunctionsAgreeWithMath(t *testing.T) {
	points := 1_000_000
	if testing.Short() {
		points = 10_000
	}
	for _, f := range functions() {
		t.Run(f.name, func(t *testing.T) {
			t.Parallel()
			random := rand.New(rand.NewPCG(1, 2))
			worst, other := 0.0, 0
			for range points {
				x := f.low[0] + random.Float64()*(f.high[0]-f.low[0])
				y := f.low[1] + random.Float64()*(f.high[1]-f.low[1])
				off := apart(f.ours(x, y), f.theirs(x, y))
				if off > 0 {
					other++
				}
				if worst = max(worst, off); off > f.most {
					t.Fatalf("%s(%v, %v) = %v, that of package math %v: %.0f units of the last place", f.name, x, y, f.ours(x, y), f.theirs(x, y), off)
				}
			}
			t.Logf("at most %.0f units of the last place apart, the same in %.1f %%", worst, 100*(1-float64(other)/float64(points)))
		})
	}
}

// Where there is no number to give, package math is followed.
func TestSpecialArguments(t *testing.T) {
	special := []float64{0, math.Copysign(0, -1), 1, -1, 0.5, -0.5, 2, -2, 1e-7, -1e-7, 1e308, -1e308, math.Inf(1), math.Inf(-1), math.NaN()}
	for _, f := range functions() {
		for _, x := range special {
			for _, y := range special {
				got, want := f.ours(x, y), f.theirs(x, y)
				switch {
				case f.name == "Pow" && (x < 0 || x == 0 && math.Signbit(x)):
					continue // not promised
				case f.name == "NormalQuantile" && x == 1e-7:
					continue // 2p - 1 has not all its digits
				case (f.name == "Sin" || f.name == "Cos") && math.Abs(x) > elementary.MostAngle:
					want = math.NaN()
				}
				if off := apart(got, want); off > f.most && math.Abs(got-want) > 1e-300 {
					t.Errorf("%s(%v, %v) = %v, that of package math %v", f.name, x, y, got, want)
				}
			}
		}
	}
}

// What is looked for between two arguments must not jump back over a rounding.
func TestFunctionsRise(t *testing.T) {
	rising := []struct {
		name      string
		f         func(float64) float64
		low, high float64
	}{
		{"Exp", elementary.Exp, -700, 700}, {"Log", elementary.Log, 0, 10}, {"Cbrt", elementary.Cbrt, -10, 10},
		{"Asin", elementary.Asin, -1, 1}, {"Sin", sin, -1.5, 1.5}, {"NormalBelow", elementary.NormalBelow, -9, 4},
		{"NormalQuantile", elementary.NormalQuantile, 0, 1},
		{"Pow", func(x float64) float64 { return elementary.Pow(x, 5.25588) }, 0, 2},
		{"Atan2", func(y float64) float64 { return elementary.Atan2(y, 1) }, -2, 2},
	}
	random := rand.New(rand.NewPCG(3, 4))
	for _, r := range rising {
		for range 20_000 {
			x := r.low + random.Float64()*(r.high-r.low)
			// The next numbers may be out by a rounding each, those a few on no more.
			next := x + 1e-14*math.Abs(x) + 1e-300
			if a, b := r.f(x), r.f(next); b < a && apart(a, b) > 1 {
				t.Errorf("%s falls from %v at %v to %v at %v", r.name, a, x, b, next)
			}
		}
	}
}

// Signs and quarters of a turn are exact.
func TestFunctionsAreSymmetric(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for range 20_000 {
		x, y := 4*random.Float64(), 4*random.Float64()
		sine, cosine := elementary.Sincos(x)
		negative, same := elementary.Sincos(-x)
		p := random.Float64()
		for what, pair := range map[string][2]float64{
			"sine":           {sine, -negative},
			"cosine":         {cosine, same},
			"cube root":      {elementary.Cbrt(x), -elementary.Cbrt(-x)},
			"arc sine":       {elementary.Asin(x / 4), -elementary.Asin(-x / 4)},
			"angle":          {elementary.Atan2(y, x), -elementary.Atan2(-y, x)},
			"length":         {elementary.Hypot(x, y), elementary.Hypot(-y, x)},
			"density":        {elementary.NormalDensity(x), elementary.NormalDensity(-x)},
			"normal draw":    {elementary.NormalQuantile(1 - p), -elementary.NormalQuantile(1 - (1 - p))},
			"power of one":   {elementary.Pow(x, 1), x},
			"length of one":  {elementary.Hypot(x, 0), x},
			"power of three": {elementary.Pow(math.Floor(100*x), 3), math.Floor(100*x) * math.Floor(100*x) * math.Floor(100*x)},
		} {
			if pair[0] != pair[1] {
				t.Fatalf("%s at %v, %v, %v: %v and %v", what, x, y, p, pair[0], pair[1])
			}
		}
	}
	for quarter, want := range [][2]float64{{0, 1}, {1, 0}, {0, -1}, {-1, 0}} {
		if sine, cosine := elementary.Sincos(float64(quarter) * math.Pi / 2); math.Abs(sine-want[0])+math.Abs(cosine-want[1]) > 2e-16 {
			t.Errorf("sine and cosine of %d quarters are %v and %v", quarter, sine, cosine)
		}
	}
}

var sink float64

func BenchmarkFunctions(b *testing.B) {
	arguments := make([][2]float64, 1024)
	for _, f := range functions() {
		random := rand.New(rand.NewPCG(1, 2))
		for i := range arguments {
			for k := range 2 {
				arguments[i][k] = f.low[k] + random.Float64()*(f.high[k]-f.low[k])
			}
		}
		for _, side := range []struct {
			name string
			f    func(x, y float64) float64
		}{{"ours", f.ours}, {"math", f.theirs}} {
			b.Run(fmt.Sprintf("%s/%s", f.name, side.name), func(b *testing.B) {
				for i := range b.N {
					sink += side.f(arguments[i%1024][0], arguments[i%1024][1])
				}
			})
		}
	}
}
