package chance

import (
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/takeoff"
)

// A Screening is what first-order propagation says: the run is taken to be a
// plane in its inputs, so that it is normal with a mean of the nominal run.
type Screening struct {
	// Usable says whether the numbers permit it. Where they do, Probability
	// agrees with a sample of [ScreenSize] points within three of its standard
	// errors; where not, Reason says why and only a sample will do.
	Usable      bool
	Reason      Unusable
	Probability float64
	NominalM    float64 // the run with nothing departing
	SigmaM      float64 // first-order standard deviation of the run, no duds
	// BurnoutGapS is the time from the nearest burn-out to lift-off, and
	// BurnoutGapSigmaS how sure that is.
	BurnoutGapS      float64
	BurnoutGapSigmaS float64
}

// ScreenSize is the size of sample that screening is held against.
const ScreenSize = 10000

// Unusable says why screening may not be used.
type Unusable uint8

const (
	Usable         Unusable = iota
	NearBurnout             // burn-out near lift-off, or thrust first felt near it: the run has a kink there
	NearFloor               // a command or ignition delay may be floored at 0
	NoNominalRun            // there is no lift-off, or may be none
	Curved                  // the run departs from a plane by more than is allowed
	DudsUncertain           // it may not be used with one dud, and duds are not rare enough to leave that out
	NotEnoughKnown          // nothing departs: there is nothing to propagate
)

// String says why in a few words.
func (u Unusable) String() string {
	switch u {
	case Usable:
		return "may be used"
	case NearBurnout:
		return "burn-out is near lift-off"
	case NearFloor:
		return "command or ignition delay is near 0"
	case NoNominalRun:
		return "lift-off is not certain"
	case Curved:
		return "the run is too far from linear in its inputs"
	case DudsUncertain:
		return "it may not be used with one dud"
	case NotEnoughKnown:
		return "nothing departs from the nominal"
	}
	return "unknown"
}

// farSigmas is how far burn-out must be from lift-off, in standard deviations.
const farSigmas = 3.5

// Screen propagates the dispersions to first order. It costs two runs for each
// source and unit, and tells from the numbers whether its answer may be used.
func Screen(c *Case, f takeoff.Firing, availableM float64) Screening {
	p := propagation{c: c, f: f, availableM: availableM, odds: c.odds()}
	s := p.propagate(-1)
	if s.Reason == NearFloor {
		return s
	}
	// One dud at a time; two are rarer than what is allowed, or it is not usable.
	none, alone := 1.0, 0.0
	chances := make([]float64, len(c.Units))
	for i := range c.Units {
		if !c.Units[i].Dud {
			chances[i] = c.Dispersions.unit(c.Units[i].Type).dud
		}
		none *= 1 - chances[i]
	}
	if none == 1 {
		return s
	}
	total, doubt := none*s.Probability, 0.0
	if !s.Usable {
		return s
	}
	for i, chance := range chances {
		if chance == 0 {
			continue
		}
		weight := float64(none / (1 - chance) * chance)
		alone += weight
		d := p.propagate(unitColumn(p.odds.lots, i) + 3)
		total += float64(weight * d.Probability)
		if !d.Usable {
			doubt += weight
		}
	}
	s.Probability = total
	doubt += 1 - none - alone
	if doubt > allowed(total) {
		s.Usable, s.Reason = false, DudsUncertain
	}
	return s
}

// allowed is how much a probability may be out: half a standard error of a plain
// sample of ScreenSize, which is about one of a low-discrepancy sample, or one
// draw of it.
func allowed(p float64) float64 {
	return max(1, 0.5*math.Sqrt(ScreenSize*p*(1-p))) / ScreenSize
}

// propagation is one case being screened.
type propagation struct {
	c          *Case
	f          takeoff.Firing
	availableM float64
	odds       odds
	d          draw
	schedule   booster.Schedule
	scores     []float64
	dud        int // column drawn as a dud, -1 for none
}

// point is one run and how far burn-out is from lift-off in it.
type point struct {
	run, first, last float64 // times of burn-out less lift-off
	start            float64 // first thrust less lift-off
}

func (p *propagation) at() point {
	p.d.set(&p.odds, func(column int) float64 {
		switch {
		case column == p.dud:
			return -cut
		case source(column, p.odds.lots) == Dud:
			return cut
		}
		return p.scores[column]
	})
	p.schedule.Carry(p.d.units)
	if p.f.Mode != takeoff.Unlit {
		p.schedule.Build(p.d.units, p.d.commandS(p.f))
	}
	roll := p.d.runner.Roll(&p.schedule)
	return point{
		run:   takeoff.ByRun.Of(roll),
		first: p.schedule.FirstBurnoutS() - roll.TimeS,
		last:  p.schedule.LastThrustS() - roll.TimeS,
		start: p.schedule.FirstThrustS() - roll.TimeS,
	}
}

// propagate works out the first-order answer with one column drawn as a dud.
func (p *propagation) propagate(dud int) Screening {
	p.dud = dud
	n := p.c.columns()
	p.scores = append(p.scores[:0], make([]float64, n)...)
	nominal := p.at()
	s := Screening{NominalM: nominal.run}
	if p.floored() {
		s.Reason = NearFloor
		return s
	}
	if math.IsInf(nominal.run, 1) {
		s.Reason = NoNominalRun
		return s
	}
	gradient := make([]float64, n)
	var variance float64
	var bends bending
	gaps := [3]float64{nominal.first, nominal.last, nominal.start}
	var spreads [3]float64
	for j := range n {
		if source(j, p.odds.lots) == Dud || p.c.sigma(j) == 0 {
			continue
		}
		p.scores[j] = 1
		up := p.at()
		p.scores[j] = -1
		down := p.at()
		p.scores[j] = 0
		if math.IsInf(up.run, 1) || math.IsInf(down.run, 1) {
			s.Reason = NoNominalRun
			return s
		}
		gradient[j] = (up.run - down.run) / 2
		variance += float64(gradient[j] * gradient[j])
		bends.add(gradient[j]*cutDeviation, (up.run-2*nominal.run+down.run)*cutDeviation*cutDeviation)
		for k, change := range [3]float64{up.first - down.first, up.last - down.last, up.start - down.start} {
			spreads[k] += float64(change * change / 4)
		}
	}
	s.SigmaM = math.Sqrt(variance)
	if s.SigmaM == 0 {
		s.Reason = NotEnoughKnown
		if nominal.run <= p.availableM {
			s.Probability = 1
		}
		return s
	}
	// Cut at three sigmas, a draw varies a little less.
	s.SigmaM *= cutDeviation
	s.Probability = elementary.NormalBelow((p.availableM - nominal.run) / s.SigmaM)
	near := false
	for k, gap := range gaps {
		if math.IsInf(gap, 0) {
			continue
		}
		sigma := math.Sqrt(spreads[k])
		if s.BurnoutGapSigmaS == 0 || math.Abs(gap)*s.BurnoutGapSigmaS < math.Abs(s.BurnoutGapS)*sigma {
			s.BurnoutGapS, s.BurnoutGapSigmaS = gap, sigma
		}
		near = near || math.Abs(gap) < farSigmas*sigma
	}
	if near {
		s.Reason = NearBurnout
		return s
	}
	if p.out(&s, gradient, &bends) > allowed(s.Probability) {
		s.Reason = Curved
		return s
	}
	s.Usable = true
	return s
}

// cutDeviation is the standard deviation of a standard normal draw cut at three:
// sqrt(1 - 6 phi(3)/(2 Phi(3) - 1)).
var cutDeviation = math.Sqrt(1 - 2*cut*elementary.NormalDensity(cut)/(1-float64(2*elementary.NormalBelow(-cut))))

// floored tells whether a command, a release or an ignition delay may come out
// at 0.
func (p *propagation) floored() bool {
	d := &p.c.Dispersions
	at := p.f.DelayS
	if p.f.Mode == takeoff.OnBrakes {
		at = p.f.ReactionS
	}
	if p.f.Mode == takeoff.Unlit || len(p.c.Units) == 0 {
		return false
	}
	if d.ReactionS > 0 && at < cut*d.ReactionS {
		return true
	}
	for i := range p.c.Units {
		u := &p.c.Units[i]
		if s := d.unit(u.Type).delayS; s > 0 && u.Type.IgnitionDelayS+u.LateS < cut*s {
			return true
		}
	}
	return false
}

// bending sums up what second-order terms add to the cumulants of the run: each
// input adds g z + h z^2/2.
type bending struct{ mean, variance, third, fourth float64 }

func (b *bending) add(g, h float64) {
	b.mean += float64(h / 2)
	b.variance += float64(h * h / 2)
	b.third += float64(3*g*g*h) + float64(h*h*h)
	b.fourth += float64(cutExcess * g * g * g * g)
}

// cutExcess is the excess kurtosis of a standard normal draw cut at three, from
// E[z^4] = 3 v - 2 c^3 phi(c)/P with variance v and P what is left.
var cutExcess = func() float64 {
	v := cutDeviation * cutDeviation
	fourth := float64(3*v) - 2*cut*cut*cut*elementary.NormalDensity(cut)/(1-float64(2*elementary.NormalBelow(-cut)))
	return fourth/(v*v) - 3
}()

// out estimates by how much the first-order probability is out: by what the
// curvature of the run and the cut of the draws do to it (Edgeworth's series),
// and by how far the run is from the plane where that says it is as long as the
// run available.
func (p *propagation) out(s *Screening, gradient []float64, b *bending) float64 {
	beta := (p.availableM - s.NominalM) / s.SigmaM
	sigma := math.Sqrt(float64(s.SigmaM*s.SigmaM) + b.variance)
	x := (p.availableM - s.NominalM - b.mean) / sigma
	third, fourth := b.third/(sigma*sigma*sigma), b.fourth/(sigma*sigma*sigma*sigma)
	bent := elementary.NormalBelow(x) - float64(elementary.NormalDensity(x)*(float64(third/6*(float64(x*x)-1))+float64(fourth/24*(float64(x*x*x)-float64(3*x)))+float64(third*third/72*(float64(x*x*x*x*x)-float64(10*x*x*x)+float64(15*x)))))
	doubt := math.Abs(bent - s.Probability)
	length := s.SigmaM / cutDeviation
	reach := min(4, max(-4, beta))
	for j := range gradient {
		p.scores[j] = reach * gradient[j] / length
	}
	there := p.at()
	clear(p.scores)
	if math.IsInf(there.run, 1) {
		return 1
	}
	off := (there.run - s.NominalM - float64(reach*s.SigmaM)) / s.SigmaM
	return max(doubt, math.Abs(elementary.NormalBelow(beta-off)-elementary.NormalBelow(beta)))
}
