package rpc

import (
	"bytes"
	"context"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// clamp is v as the contract's counts are.
func clamp[T int | int64](v T) int32 { return int32(min(int64(v), math.MaxInt32)) }

// begun is the progress with which an allocation begins: no plan can launch more
// than every sortie that has a usable fit.
func (q *queue) begun() *bowrollv1.PlanProgress {
	return &bowrollv1.PlanProgress{
		Stage: bowrollv1.PlanStage_PLAN_STAGE_ALLOCATION, Level: levelNames["priority"],
		Bound: proto.Float64(float64(q.launchable())),
	}
}

// launchable is the priority of all sorties that have a usable fit.
func (q *queue) launchable() int64 {
	total := int64(0)
	for i := range q.problem.Sorties {
		if s := &q.problem.Sorties[i]; len(s.Fits) > 0 {
			total += int64(s.Priority)
		}
	}
	return total
}

// progress passes on where the search stands.
func (q *queue) progress(tell func(*bowrollv1.PlanProgress)) func(allocate.Progress) {
	best, bound := int64(-1), float64(q.launchable())
	return func(at allocate.Progress) {
		if at.Level == "priority" && at.Found {
			best = at.Value
		}
		if at.Level == "priority" && at.Bounded {
			bound = min(bound, float64(at.Bound))
		}
		p := &bowrollv1.PlanProgress{
			Stage: bowrollv1.PlanStage_PLAN_STAGE_ALLOCATION, Level: levelNames[at.Level], NodeCount: clamp(at.Nodes), Bound: proto.Float64(bound),
		}
		if best >= 0 {
			p.BestPriority = proto.Int32(clamp(best))
		}
		tell(p)
	}
}

// levelNames are the contract's names of the levels.
var levelNames = map[string]string{
	"priority": "priority_launched", "units": "units_used", "expiry_rank": "expiry_rank", "margin_mm": "margin_m", "kept": "kept_count", "ties": "ties",
}

// levels says what is known of each level.
func levels(res *allocate.Result) []*bowrollv1.ObjectiveLevel {
	var list []*bowrollv1.ObjectiveLevel
	for i := range res.Levels {
		l := &res.Levels[i]
		scale := 1.0
		if l.Name == "margin_mm" {
			scale = 1000
		}
		out := &bowrollv1.ObjectiveLevel{Name: levelNames[l.Name], Maximise: l.Maximise, Value: float64(l.Value) / scale, Proven: l.Proven}
		switch {
		case l.Proven:
			out.Bound, out.Gap = proto.Float64(out.Value), proto.Float64(0)
		case l.Bounded:
			out.Bound, out.Gap = proto.Float64(float64(l.Bound)/scale), proto.Float64(float64(l.Gap())/scale)
		}
		list = append(list, out)
	}
	return list
}

// objective is the value of a plan. Kept launches are counted where an earlier
// plan was given.
func (q *queue) objective(o allocate.Objective) *bowrollv1.Objective {
	out := &bowrollv1.Objective{
		PriorityLaunched: clamp(o.Priority), UnitsUsed: clamp(o.Units), ExpiryRank: clamp(o.ExpiryRank), MarginM: float64(o.MarginMM) / 1000,
	}
	if q.problem.KeepAfter > 0 {
		out.KeptCount = proto.Int32(clamp(o.Kept))
	}
	return out
}

// bound is the greatest priority that any plan can launch, as proven.
func (q *queue) bound(res *allocate.Result) float64 {
	for _, l := range res.Levels {
		if l.Name == "priority" && l.Bounded && !l.Proven {
			return float64(l.Bound)
		}
	}
	if res.Status == allocate.Optimal || len(res.Levels) > 0 && res.Levels[0].Proven {
		return float64(res.Objective.Priority)
	}
	return float64(q.launchable())
}

// lpStages writes each stage with the values of those before it, up to the first
// that is not proven: what comes after would hold a value that is not the best.
func (q *queue) lpStages(res *allocate.Result) ([]string, error) {
	var list []string
	var earlier []int64
	for k := range res.Levels {
		var text bytes.Buffer
		if err := allocate.WriteLP(&text, &q.problem, k+1, earlier); err != nil {
			return nil, err
		}
		list = append(list, text.String())
		if !res.Levels[k].Proven {
			break
		}
		earlier = append(earlier, res.Levels[k].Value)
	}
	return list, nil
}

// respotting compares the plan with the best one in the places given.
func (q *queue) respotting(ctx context.Context, best *allocate.Result, o allocate.Options) (*bowrollv1.Respotting, error) {
	pinned := allocate.Pinned(&q.problem)
	out := &bowrollv1.Respotting{}
	for i, c := range best.Choices {
		if s := &q.problem.Sorties[i]; s.Group != "" && s.Spot != "" && c.Spot != s.Spot {
			out.Moves = append(out.Moves, &bowrollv1.SpotMove{
				Sortie: q.sortieName(i), FromSpot: s.Spot, ToSpot: c.Spot,
			})
		}
	}
	given, err := allocate.Solve(ctx, pinned, o)
	if err != nil {
		return nil, err
	}
	if given.Choices == nil {
		return out, ctx.Err()
	}
	out.Given = q.objective(given.Objective)
	out.GivenOptimal = given.Status == allocate.Optimal
	out.PriorityGained = clamp(best.Objective.Priority - given.Objective.Priority)
	out.UnitsSaved = clamp(given.Objective.Units - best.Objective.Units)
	return out, nil
}

// sortieName is the name of a sortie within its cycle.
func (q *queue) sortieName(i int) string {
	for _, p := range q.parts {
		if i >= p.first && i < p.first+len(p.rc.sorties) {
			return p.rc.sorties[i-p.first].sortie.GetId()
		}
	}
	return ""
}
