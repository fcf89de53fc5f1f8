package chance

import "math"

// percentile is the order statistic ceil(p N) of values, which it reorders:
// quickselect, since a whole sort would cost more than the runs themselves.
func percentile(values []float64, p float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	k := min(n, max(1, int(math.Ceil(float64(p*float64(n))-1e-9)))) - 1
	low, high := 0, n-1
	for low < high {
		pivot := middle(values[low], values[low+(high-low)/2], values[high])
		i, j := low, high
		for i <= j {
			for values[i] < pivot {
				i++
			}
			for values[j] > pivot {
				j--
			}
			if i <= j {
				values[i], values[j] = values[j], values[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return values[k]
		}
	}
	return values[k]
}

func middle(a, b, c float64) float64 {
	return max(min(a, b), min(max(a, b), c))
}
