package calibrate

import (
	"context"
	"math"

	"bowroll/perf/air"
)

// A Residual is one run beside what the model says of it. What does not exist is
// nil.
type Residual struct {
	Judgement

	// Predictions at lift-off; nil where the model does not get it off.
	DistanceM, TimeS, AirspeedMPS *float64
	// StandardDistanceM is the observed distance reduced to standard sea-level
	// air, no wind and a level deck, by the ratio of the two predictions; beside
	// it the prediction there. Nil where the model does not get it off there.
	StandardDistanceM, StandardPredictedM *float64
	// DistanceSigmaM is the standard deviation of the distance residual.
	DistanceSigmaM *float64
	// Score is observed less predicted in standard deviations: of the distance,
	// of the time where no distance was measured. Nil for neither.
	Score *float64
}

// Residuals compares runs with the model, each judged by itself. It fails with
// the error of ctx, or with a violation.List where a setting makes no sense.
func Residuals(ctx context.Context, runs []Run) ([]Residual, error) {
	list := make([]Residual, len(runs))
	var p predictor
	for i := range runs {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := p.at(&runs[i]); err != nil {
			return nil, err
		}
		list[i] = p.residual(&runs[i])
	}
	return list, nil
}

func (p *predictor) residual(r *Run) Residual {
	out := Residual{Judgement: p.screen(r)}
	says, ok := p.predict(departure{})
	if !ok {
		return out
	}
	out.DistanceM, out.TimeS, out.AirspeedMPS = &says[distance], &says[elapsed], &says[airspeed]
	y := r.observed()
	if cov, ok := p.spread(r, departure{}); ok {
		sigma := math.Sqrt(cov[distance][distance])
		out.DistanceSigmaM = &sigma
		out.Score = score(y, says, cov, 1)
	}
	p.standard(r, &out, y[distance])
	return out
}

// score is the residual of distance, or else of time, in standard deviations.
func score(y, says measures, cov [3][3]float64, scale float64) *float64 {
	for _, k := range [2]int{distance, elapsed} {
		if !math.IsNaN(y[k]) {
			z := (y[k] - says[k]) / (math.Sqrt(cov[k][k]) * scale)
			return &z
		}
	}
	return nil
}

// standard reduces a distance to standard conditions.
func (p *predictor) standard(r *Run, out *Residual, observed float64) {
	there := *r
	there.Setting.Air.DensityKgM3 = air.SeaLevelDensityKgM3
	there.Setting.HeadwindMPS = 0
	there.Setting.Surface.Upslope = 0
	if p.at(&there) != nil {
		return
	}
	if says, ok := p.predict(departure{}); ok {
		out.StandardPredictedM = &says[distance]
		if reduced := observed * says[distance] / *out.DistanceM; !math.IsNaN(reduced) {
			out.StandardDistanceM = &reduced
		}
	}
}
