package calibrate

import (
	"fmt"
	"math"
	"sort"
)

// An Error is how far predictions are from runs that are not flagged. What was
// measured of none is nil.
type Error struct {
	DistanceRMSM, DistanceBiasM, TimeRMSS, ScoreRMS *float64
}

// errorSum gathers an [Error].
type errorSum struct {
	distance, bias, time, score float64
	distances, times, scored    int
}

func (e *errorSum) add(d *datum, says measures) {
	var off measures
	for k := range off {
		off[k] = d.y[k] - says[k]
	}
	if v := off[distance]; !math.IsNaN(v) {
		e.distance += float64(v * v)
		e.bias -= v
		e.distances++
	}
	if v := off[elapsed]; !math.IsNaN(v) {
		e.time += float64(v * v)
		e.times++
	}
	res := d.white(off)
	e.score += dot(res, res)
	e.scored += len(res)
}

func (e *errorSum) mean() (out Error) {
	root := func(sum float64, n int) *float64 {
		if n == 0 {
			return nil
		}
		v := math.Sqrt(sum / float64(n))
		return &v
	}
	out.DistanceRMSM, out.TimeRMSS, out.ScoreRMS = root(e.distance, e.distances), root(e.time, e.times), root(e.score, e.scored)
	if e.distances > 0 {
		bias := e.bias / float64(e.distances)
		out.DistanceBiasM = &bias
	}
	return out
}

// report makes the answer from a fit that is done.
func (f *fitter) report() *Fit {
	out := &Fit{Judgements: f.judged, Fitted: f.count(), Scale: f.scale}
	out.Thrust, out.RollingFriction, out.Drag = f.estimate(byThrust), f.estimate(byFriction), f.estimate(byDrag)
	out.ThrustDrag, out.ThrustFriction = f.correlations()
	for c := range f.columns {
		if f.columns[c].group != "" {
			out.Offsets = append(out.Offsets, f.offset(c))
		}
	}
	sort.SliceStable(out.Offsets, func(i, j int) bool {
		a, b := out.Offsets[i], out.Offsets[j]
		if a.Group != b.Group {
			return a.Group > b.Group // tails, lots, decks
		}
		return a.Key < b.Key
	})
	var before, after errorSum
	out.Drift = NewDrift(f.settings.FalseAlarmRuns)
	for i := range f.data {
		if !f.used(i) {
			continue
		}
		d := &f.data[i]
		before.add(d, d.says0)
		after.add(d, d.says)
		if z := score(d.y, d.says, d.cov, f.scale); z != nil {
			out.Drift.Add(*z, i)
		}
	}
	out.Uncorrected, out.InSample = before.mean(), after.mean()
	out.HeldOut = f.heldOut()
	out.Cautions = f.cautions(out)
	return out
}

// typeColumn is the column of an estimate of the type, -1 where it is held.
func (f *fitter) typeColumn(part int) int {
	for c := range f.columns {
		if f.columns[c].part == part && f.columns[c].group == "" {
			return c
		}
	}
	return -1
}

func (f *fitter) estimate(part int) Estimate {
	if c := f.typeColumn(part); c >= 0 {
		return f.interval(c)
	}
	return Estimate{}
}

// interval is an unknown with its interval, by the curvature at the maximum. The
// scatter is estimated too, which widens it as Student's t does.
func (f *fitter) interval(c int) Estimate {
	sigma := math.Sqrt(f.inverse[c][c])
	freedom := scaleBelief - len(f.columns)
	for i := range f.data {
		if f.used(i) {
			freedom += len(f.data[i].at)
		}
	}
	freedom = max(scaleBelief, freedom)
	half := float64(sigma * studentHalf(freedom, f.settings.IntervalProbability))
	return Estimate{Value: f.x[c], Sigma: sigma, Low: f.x[c] - half, High: f.x[c] + half, Prior: f.columns[c].prior}
}

// correlations are those of the errors of thrust with drag and with friction that
// the runs alone would leave, without priors and offsets: how well runs like
// these can tell them apart.
func (f *fitter) correlations() (thrustDrag, thrustFriction float64) {
	own := newMatrix(3)
	for i := range f.data {
		d := &f.data[i]
		if !f.used(i) {
			continue
		}
		rows := [3][]float64{d.white(d.jac[byThrust]), d.white(d.jac[byFriction]), d.white(d.jac[byDrag])}
		for a := range 3 {
			for b := range a + 1 {
				own[a][b] += dot(rows[a], rows[b])
			}
		}
	}
	for a := range 3 {
		own[a][a] = float64(own[a][a]*(1+1e-9)) + 1e-12 // runs that are all one leave it singular
	}
	lower, ok := own.factor()
	if !ok {
		return 1, 1
	}
	inverse := lower.inverse()
	of := func(a, b int) float64 { return inverse[a][b] / math.Sqrt(inverse[a][a]*inverse[b][b]) }
	return of(byThrust, byDrag), of(byThrust, byFriction)
}

// offset is one group. Alone follows from the maximum: there the pull of the
// group's own runs and that of the prior are equal, I (alone - x) = x / prior^2,
// with I what the runs say of it.
func (f *fitter) offset(c int) Offset {
	out := Offset{Estimate: f.interval(c), Group: f.columns[c].group, Key: f.columns[c].key}
	var information float64
	for i := range f.data {
		d := &f.data[i]
		if !f.used(i) {
			continue
		}
		for _, own := range d.columns {
			if own != c {
				continue
			}
			out.Runs++
			row := d.white(d.jac[f.columns[c].part])
			w := (Freedom + float64(len(row))) / (Freedom + f.far(i))
			information += w * dot(row, row) / (f.scale * f.scale)
		}
	}
	if information > 0 {
		alone := out.Value * (1 + 1/(out.Prior*out.Prior*information))
		out.Alone = &alone
	}
	return out
}

func outlierReason(d *datum, far, limit, scale float64) Judgement {
	text := ""
	if v := d.y[distance]; !math.IsNaN(v) {
		text = fmt.Sprintf("%.1f m where the fit says %.1f m", v, d.says[distance])
	}
	if v := d.y[elapsed]; !math.IsNaN(v) {
		if text != "" {
			text += ", "
		}
		text += fmt.Sprintf("%.2f s where it says %.2f s", v, d.says[elapsed])
	}
	if v := d.y[airspeed]; !math.IsNaN(v) {
		if text != "" {
			text += ", "
		}
		text += fmt.Sprintf("%.1f m/s where it says %.1f m/s", v, d.says[airspeed])
	}
	return Judgement{Outlier, fmt.Sprintf("%s: %.1f standard deviations together, more than %.1f", text, math.Sqrt(far), math.Sqrt(limit))}
}

// Levels at which cautions are raised.
const (
	fewRuns         = 15
	confounded      = 0.9
	littleLearned   = 0.3
	farFromBelieved = 2.5
	manyFlagged     = 0.15
)

// cautions says what to beware of, most serious first.
func (f *fitter) cautions(out *Fit) []string {
	var list []string
	say := func(format string, args ...any) { list = append(list, fmt.Sprintf(format, args...)) }
	if h, u := out.HeldOut.ScoreRMS, out.Uncorrected.ScoreRMS; h != nil && u != nil && *h >= *u {
		say("on runs that it did not see the correction is no better than the data as they are (%.2f against %.2f standard deviations): leave the catalog alone", *h, *u)
	}
	if out.Drift.Alarm >= 0 {
		say("the runs drift even with the correction: something changed on the way, and one correction does not describe them all")
	}
	if out.Fitted < fewRuns {
		say("%d runs were fitted; fewer than %d say little", out.Fitted, fewRuns)
	}
	if flagged := len(f.runs) - out.Fitted; float64(flagged) > manyFlagged*float64(len(f.runs)) {
		say("%d of %d runs are flagged: look at how they were observed before anything else", flagged, len(f.runs))
	}
	for _, pair := range []struct {
		with string
		r    float64
	}{{"drag", out.ThrustDrag}, {"rolling friction", out.ThrustFriction}} {
		if math.Abs(pair.r) > confounded {
			say("thrust and %s cannot be told apart (correlation %.2f): the runs are too alike in speed, mass and units; only their balance is known", pair.with, pair.r)
		}
	}
	for _, e := range []struct {
		name string
		Estimate
	}{{"thrust", out.Thrust}, {"rolling friction", out.RollingFriction}, {"drag", out.Drag}} {
		if e.Prior == 0 {
			continue
		}
		if e.Learned() < littleLearned {
			say("the runs say little of %s: its estimate is mostly what was believed before", e.name)
		}
		if math.Abs(e.Value) > farFromBelieved*e.Prior {
			say("%s is %.1f prior standard deviations from the catalog: look for another cause, such as mass or wind", e.name, e.Value/e.Prior)
		}
	}
	return list
}
