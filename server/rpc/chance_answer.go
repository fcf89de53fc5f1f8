package rpc

import (
	"context"
	"slices"
	"sync"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The samples of the service, the same on every ship. The first points of the
// larger samples of firing are those of the smaller one.
const (
	sampleSeed      = 1
	chanceScrambles = 16
	chancePoints    = chance.ScreenSize / chanceScrambles
	planReport      = 512 // draws behind the figures of one take-off's plan
	planPoints      = 2 * planReport
	findPoints      = 2 * 4000
)

// A sampler holds the points that chances and firings are computed with. It is
// safe for concurrent use.
type sampler struct {
	chance, plan, find *chance.Sample
	planners           sync.Pool
	workers            int
}

func newSampler(workers int) *sampler {
	return &sampler{
		chance:   chance.NewSample(sampleSeed, chanceScrambles, chancePoints),
		plan:     chance.NewSample(sampleSeed, 1, planPoints),
		find:     chance.NewSample(sampleSeed, 1, findPoints),
		planners: sync.Pool{New: func() any { return new(chance.Planner) }},
		workers:  workers,
	}
}

// chances samples the firing that an assessment used.
func (r *run) chances(ctx context.Context, s *sampler, a *takeoff.Assessment) (*bowrollv1.Chance, error) {
	c := r.res.chanceCase(r.runner)
	percentile := r.res.Policy.GetPercentile()
	result, err := chance.Evaluate(ctx, c, chance.Question{
		Firing: a.Firing, AvailableM: r.res.Available, Percentile: percentile,
	}, s.chance, s.workers)
	if err != nil {
		return nil, status.FromContextError(err).Err()
	}
	out := &bowrollv1.Chance{
		Dispersions:        r.res.dispersions(),
		SampleCount:        int32(result.Samples),
		ScrambleCount:      int32(result.Scrambles),
		Probability:        result.Probability,
		StandardError:      result.StandardError,
		RunP50M:            finite(result.P50M),
		Percentile:         percentile,
		RunPercentileM:     finite(result.PercentileM),
		RunP99M:            finite(result.P99M),
		NoLiftoffCount:     int32(result.NoLiftoff),
		UnassignedFraction: result.Unassigned,
		Screening:          screeningAnswer(chance.Screen(c, a.Firing, r.res.Available)),
	}
	if result.NoLiftoff < result.Samples {
		out.RunMeanM, out.RunSigmaM = finite(result.MeanM), finite(result.SigmaM)
	}
	slices.SortStableFunc(result.Shares, func(a, b chance.Share) int {
		switch {
		case a.Share > b.Share:
			return -1
		case a.Share < b.Share:
			return 1
		}
		return 0
	})
	for _, s := range result.Shares {
		out.VarianceShares = append(out.VarianceShares, &bowrollv1.VarianceShare{Source: s.Source.String(), Fraction: s.Share})
	}
	return out, nil
}

func screeningAnswer(s chance.Screening) *bowrollv1.Screening {
	out := &bowrollv1.Screening{Usable: s.Usable}
	if s.Usable {
		out.Probability = proto.Float64(s.Probability)
	} else {
		out.Reason = s.Reason.String()
	}
	if s.SigmaM > 0 {
		out.RunSigmaM = finite(s.SigmaM)
	}
	if s.BurnoutGapSigmaS > 0 {
		out.BurnoutGapS, out.BurnoutGapSigmaS = finite(s.BurnoutGapS), finite(s.BurnoutGapSigmaS)
	}
	return out
}

// judgeChance holds an assessment to the least probability that the policy asks.
// Screening settles it where it may be used and nothing more was asked.
func (r *run) judgeChance(ctx context.Context, s *sampler, a *takeoff.Assessment, asked bool) (*bowrollv1.Chance, error) {
	least := r.res.Policy.GetLeastProbability()
	if !asked && least <= 0 {
		return nil, nil
	}
	var out *bowrollv1.Chance
	var probability float64
	screened := chance.Screening{}
	if !asked {
		screened = chance.Screen(r.res.chanceCase(r.runner), a.Firing, r.res.Available)
		probability = screened.Probability
	}
	if !screened.Usable {
		var err error
		if out, err = r.chances(ctx, s, a); err != nil {
			return nil, err
		}
		probability = out.GetProbability()
	}
	if probability < least {
		f := takeoff.Finding{
			Outcome: takeoff.ProbabilityTooLow, Quantity: "probability", Value: probability, Limit: least, HasValue: true, HasLimit: true,
		}
		at := slices.IndexFunc(a.Verdict, func(o takeoff.Finding) bool { return o.Outcome > f.Outcome })
		if at < 0 {
			at = len(a.Verdict)
		}
		a.Verdict = slices.Insert(a.Verdict, at, f)
	}
	return out, nil
}
