package intercept

import (
	"math"
	"runtime/metrics"
	"time"
)

// SchedulerPressure returns a [Pressure] that asks the runtime: what nine in ten
// goroutines that were ready to go on waited at most for a processor. It counts
// the work of the whole process, whatever kind it is, and not how long calls
// take, which is different for each.
func SchedulerPressure() Pressure {
	sample := []metrics.Sample{{Name: "/sched/latencies:seconds"}}
	var before []uint64
	return func() time.Duration {
		metrics.Read(sample)
		if sample[0].Value.Kind() != metrics.KindFloat64Histogram {
			return 0 // a runtime that does not tell
		}
		h := sample[0].Value.Float64Histogram()
		since := make([]uint64, len(h.Counts))
		for i, n := range h.Counts {
			since[i] = n
			if i < len(before) {
				since[i] -= before[i]
			}
		}
		before = append(before[:0], h.Counts...)
		return quantile(since, h.Buckets, 0.9)
	}
}

// quantile is the upper edge of the bucket that holds the share q of counts;
// edges, in seconds, are one more than counts. Nothing counted is 0.
func quantile(counts []uint64, edges []float64, q float64) time.Duration {
	var all uint64
	for _, n := range counts {
		all += n
	}
	left := uint64(math.Ceil(q * float64(all)))
	if left == 0 {
		return 0
	}
	for i, n := range counts {
		if n < left {
			left -= n
			continue
		}
		edge := edges[i+1]
		if math.IsInf(edge, 1) {
			edge = edges[i]
		}
		return time.Duration(edge * float64(time.Second))
	}
	return 0
}
