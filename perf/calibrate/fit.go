package calibrate

import "context"

const (
	// Freedom is the degrees of freedom of the errors.
	Freedom = 5.0
	// scaleBelief is how many measurements the stated standard deviations count
	// for when the scatter is estimated.
	scaleBelief = 10.0

	mostRounds  = 8  // of flagging and fitting anew
	mostSteps   = 40 // of Gauss-Newton
	slopeRounds = 4  // steps at which sensitivities are computed anew
	stepDone    = 1e-7
)

// fitter holds one fit while it is made.
type fitter struct {
	settings Settings
	runs     []Run
	judged   []Judgement
	data     []datum // one for each run
	columns  []column
	x        []float64
	scale    float64
	inverse  matrix // covariance of x
	p        predictor
}

// column is one unknown.
type column struct {
	part  int // column of the sensitivity
	group Group
	key   string
	prior float64
}

// datum is one run as the fit sees it, whitened: residual and sensitivity in
// standard deviations.
type datum struct {
	sound   bool // can be fitted, whether it is flagged as an outlier or not
	at      []int
	y       measures
	says    measures
	says0   measures // of the model as it is
	jac     sensitivity
	lower   matrix // Cholesky factor of the covariance of what was measured
	cov     [3][3]float64
	columns []int // unknowns that bear on it
}

// Make fits the runs of one aircraft type, in the order in which they launched.
// It fails with the error of ctx, with a violation.List where a setting makes no
// sense, or with [ErrNoRuns].
func Make(ctx context.Context, runs []Run, settings Settings) (*Fit, error) {
	f := &fitter{settings: settings, runs: runs, scale: 1}
	if err := f.prepare(ctx); err != nil {
		return nil, err
	}
	if f.count() == 0 {
		return &Fit{Judgements: f.judged}, ErrNoRuns
	}
	for range mostRounds {
		if err := f.solve(ctx); err != nil {
			return nil, err
		}
		if !f.flagOutliers() || f.count() == 0 {
			break
		}
	}
	if f.count() == 0 {
		return &Fit{Judgements: f.judged}, ErrNoRuns
	}
	return f.report(), nil
}

// prepare screens every run and works out what bears on it.
func (f *fitter) prepare(ctx context.Context) error {
	f.judged = make([]Judgement, len(f.runs))
	f.data = make([]datum, len(f.runs))
	for i := range f.runs {
		if err := ctx.Err(); err != nil {
			return err
		}
		r, d := &f.runs[i], &f.data[i]
		if err := f.p.at(r); err != nil {
			return err
		}
		f.judged[i] = f.p.screen(r)
		d.y = r.observed()
		d.at = d.y.measured()
		if f.judged[i].Flag != Sound || len(d.at) == 0 {
			continue
		}
		var ok bool
		if d.says0, ok = f.p.predict(departure{}); !ok {
			continue
		}
		if d.cov, ok = f.p.spread(r, departure{}); !ok {
			f.judged[i] = Judgement{NoLiftoff, "at the errors of wind, mass and firing that are stated the model does not get it off"}
			continue
		}
		d.says = d.says0
		d.whiten()
		d.sound = true
	}
	f.setColumns()
	return nil
}

// whiten factors the covariance of what was measured.
func (d *datum) whiten() {
	n := len(d.at)
	sym := newMatrix(n)
	for a := range n {
		for b := range a + 1 {
			sym[a][b] = d.cov[d.at[a]][d.at[b]]
		}
	}
	d.lower, _ = sym.factor() // instruments have standard deviations above zero
}

// white is v, at what was measured, in standard deviations.
func (d *datum) white(v measures) []float64 {
	out := make([]float64, len(d.at))
	for a, k := range d.at {
		out[a] = v[k]
	}
	return d.lower.forward(out)
}

// setColumns lists the unknowns in an order that depends on the runs alone.
func (f *fitter) setColumns() {
	add := func(c column) int {
		if c.prior == 0 {
			return -1
		}
		for i := range f.columns {
			if f.columns[i].group == c.group && f.columns[i].key == c.key && f.columns[i].part == c.part {
				return i
			}
		}
		f.columns = append(f.columns, c)
		return len(f.columns) - 1
	}
	s := f.settings
	types := []column{{part: byThrust, prior: s.Thrust}, {part: byFriction, prior: s.RollingFriction}, {part: byDrag, prior: s.Drag}}
	for _, c := range types {
		add(c)
	}
	for i := range f.runs {
		r, d := &f.runs[i], &f.data[i]
		if !d.sound {
			continue
		}
		own := types
		if r.Tail != "" {
			own = append(own[:3:3], column{part: byThrust, group: Tail, key: r.Tail, prior: s.TailThrust})
		}
		if r.Deck != "" {
			own = append(own[:len(own):len(own)], column{part: byFriction, group: Deck, key: r.Deck, prior: s.DeckFriction})
		}
		if r.Lot != "" && len(r.Setting.Units) > 0 {
			own = append(own[:len(own):len(own)], column{part: byUnitThrust, group: Lot, key: r.Lot, prior: s.LotThrust})
		}
		for _, c := range own {
			if at := add(c); at >= 0 {
				d.columns = append(d.columns, at)
			}
		}
	}
	f.x = make([]float64, len(f.columns))
}

// used tells whether a run is fitted.
func (f *fitter) used(i int) bool { return f.data[i].sound && f.judged[i].Flag == Sound }

func (f *fitter) count() (n int) {
	for i := range f.data {
		if f.used(i) {
			n++
		}
	}
	return n
}

// departureOf is how a run departs from the nominal at x.
func (f *fitter) departureOf(d *datum, x []float64) (out departure) {
	parts := [4]*float64{&out.thrust, &out.friction, &out.drag, &out.unitThrust}
	for _, c := range d.columns {
		*parts[f.columns[c].part] += x[c]
	}
	return out
}

// linearise computes predictions, and where slopes is set sensitivities and the
// spread of single runs, at x. A run that does not lift off there keeps what it
// had.
func (f *fitter) linearise(ctx context.Context, slopes bool) error {
	for i := range f.data {
		d := &f.data[i]
		if !d.sound {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := f.p.at(&f.runs[i]); err != nil {
			return err
		}
		at := f.departureOf(d, f.x)
		if says, ok := f.p.predict(at); ok {
			d.says = says
		}
		if slopes {
			if jac, ok := f.p.sensitivity(at); ok {
				d.jac = jac
			}
			if cov, ok := f.p.spread(&f.runs[i], at); ok {
				d.cov = cov
				d.whiten()
			}
		}
	}
	return nil
}

// solve finds the most probable x for the runs that are used.
func (f *fitter) solve(ctx context.Context) error {
	for step := range mostSteps {
		if err := f.linearise(ctx, step < slopeRounds); err != nil {
			return err
		}
		change := f.improve(f.used, f.x, f.says)
		if change < stepDone && step >= slopeRounds-1 {
			break
		}
	}
	return f.linearise(ctx, false)
}

// says is what the model says of a run at x as it is.
func (f *fitter) says(i int, _ []float64) measures { return f.data[i].says }

// flagOutliers flags the runs that are too far from the fit to belong to it, and
// takes the flag from those that are no longer. It tells whether that changed
// which runs are used.
func (f *fitter) flagOutliers() (changed bool) {
	for i := range f.data {
		d := &f.data[i]
		if !d.sound {
			continue
		}
		far := f.far(i)
		limit := outlierLimit[len(d.at)]
		flag := Judgement{}
		if far > limit {
			flag = outlierReason(d, far, limit, f.scale)
		}
		changed = changed || (flag.Flag != Sound) != (f.judged[i].Flag != Sound)
		f.judged[i] = flag
	}
	return changed
}

// far is the squared distance of a run from the fit, in standard deviations.
func (f *fitter) far(i int) float64 {
	d := &f.data[i]
	var off measures
	for k := range off {
		off[k] = d.y[k] - d.says[k]
	}
	res := d.white(off)
	return dot(res, res) / (f.scale * f.scale)
}
