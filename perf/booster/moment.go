package booster

import "math"

// FirstTailS is when the first unit that burns goes into its tail: when its
// thrust falls below nine tenths of its mean for the last time. -Inf if none
// burns.
func (s *Schedule) FirstTailS() float64 {
	first := math.Inf(1)
	for i := range s.burns {
		first = min(first, s.burns[i].start+s.burns[i].kind.tail()/s.burns[i].rate)
	}
	if math.IsInf(first, 1) {
		return math.Inf(-1)
	}
	return first
}

// tail is the trace time at which thrust falls below nine tenths of its mean for
// the last time.
func (t *Type) tail() float64 {
	first, last := t.lit()
	if !(last > first) {
		return last
	}
	level := 0.9 * t.ImpulseNS() / (last - first)
	for i := len(t.TraceS) - 1; i > 0; i-- {
		from, to := t.TraceN[i-1], t.TraceN[i]
		switch {
		case to >= level:
			return t.TraceS[i]
		case from >= level:
			return t.TraceS[i-1] + (t.TraceS[i]-t.TraceS[i-1])*(from-level)/(from-to)
		}
	}
	return t.TraceS[0]
}

// FirstBurnoutS is when the first unit that burns stops pushing, -Inf if none
// burns.
func (s *Schedule) FirstBurnoutS() float64 {
	first := math.Inf(1)
	for i := range s.burns {
		_, last := s.burns[i].kind.lit()
		first = min(first, s.burns[i].start+last/s.burns[i].rate)
	}
	if math.IsInf(first, 1) {
		return math.Inf(-1)
	}
	return first
}

// GreatestYaw finds the yawing moment of greatest size between two times, with
// its sign, and the earliest moment in between at which any yaw above a
// thousandth of it is felt.
func (s *Schedule) GreatestYaw(fromS, toS float64) (yawNM, beginsS float64) {
	beginsS = fromS
	if !(fromS < toS) {
		return 0, beginsS
	}
	for pass := range 2 {
		for i := s.Index(fromS); i < len(s.segments) && s.segments[i].StartS < toS; i++ {
			g := &s.segments[i]
			low, high := max(g.StartS, fromS), toS
			if i+1 < len(s.segments) {
				high = min(high, s.segments[i+1].StartS)
			}
			if low >= high {
				continue
			}
			at, end := g.YawNM+float64((low-g.StartS)*g.YawNMPS), g.YawNM+float64((high-g.StartS)*g.YawNMPS)
			if pass == 1 {
				if max(math.Abs(at), math.Abs(end)) > 1e-3*math.Abs(yawNM) {
					return yawNM, low
				}
				continue
			}
			for _, yaw := range [2]float64{at, end} {
				if math.Abs(yaw) > math.Abs(yawNM) {
					yawNM = yaw
				}
			}
		}
	}
	return yawNM, beginsS
}

// ForwardBeforeN is the forward thrust of all units just before a time: a jump within a
// microsecond of it counts as still to come.
func (s *Schedule) ForwardBeforeN(timeS float64) float64 {
	i := s.Index(timeS)
	for i > 0 && s.segments[i].StartS >= timeS-1e-6 {
		i--
	}
	g := &s.segments[i]
	return g.ForwardN + float64((timeS-g.StartS)*g.ForwardNPS)
}
