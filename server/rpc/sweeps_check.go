package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/sweep"
)

// prepare makes plan and kernel of a spec, or returns every fault of it: those of
// the axes, and those of the case where each axis is at its least and at its
// greatest.
func (s *Sweeps) prepare(ctx context.Context, spec *bowrollv1.SweepSpec) (*sweep.Plan, *sweepKernel, error) {
	found := sweep.Check("spec", spec)
	sound := &bowrollv1.SweepSpec{Case: spec.GetCase(), Method: spec.GetMethod(), RowCount: spec.RowCount}
	place := []int{}
	for i, a := range spec.GetAxes() {
		at := "spec.axes[" + strconv.Itoa(i) + "]"
		faulty := false
		for _, v := range found {
			faulty = faulty || v.GetField() == at || strings.HasPrefix(v.GetField(), at+".")
		}
		if !faulty {
			sound.Axes, place = append(sound.Axes, a), append(place, i)
		}
	}
	r, err := s.rows.resolver(ctx, s.snapshot.Revision())
	if err != nil {
		return nil, nil, err
	}
	more, err := caseFaults(r, sound, place)
	if err != nil {
		return nil, nil, err
	}
	found = append(found, more...)
	if spec.GetCase().GetBoosters().GetFiring().GetMode() == bowrollv1.FiringMode_FIRING_MODE_PLANNED {
		found = append(found, notNominal("spec.case.boosters.firing.mode"))
	}
	if err := refusal.Invalid(found); err != nil {
		return nil, nil, err
	}
	plan := sweep.NewPlan(spec)
	return plan, newSweepKernel(r, spec, plan), nil
}

// caseFaults resolves the case at the ends of its axes. A fault of what an axis
// sets is that axis's. Where names vary too, what one of them refuses another may
// take: then only what is refused with the first name of each is told here, and
// rows that are refused say so themselves.
func caseFaults(r resolver, spec *bowrollv1.SweepSpec, place []int) ([]*bowrollv1.Violation, error) {
	plan := sweep.NewPlan(spec)
	row, seen := baseOf(spec), map[string]bool{}
	var all []*bowrollv1.Violation
	for end := range 2 {
		inputs := make([]float64, len(plan.Axes))
		for i := range plan.Axes {
			a := &plan.Axes[i]
			if a.Words == nil {
				least, greatest := a.Ends()
				inputs[i] = [2]float64{least, greatest}[end]
			}
			a.Set(row, inputs[i])
		}
		_, found, err := r.resolve("spec.case", row)
		if err != nil {
			return nil, err
		}
		for _, v := range found {
			for i := range plan.Axes {
				if v.GetField() == "spec.case."+plan.Axes[i].Field {
					v.Field = fmt.Sprintf("spec.axes[%d]", place[i])
					if v.GetHint() == "" {
						v.Hint = plan.Axes[i].Field + " takes this value in some rows"
					}
				}
			}
			if what := v.GetField() + " " + v.GetRule() + " " + v.GetValue(); !seen[what] {
				seen[what] = true
				all = append(all, v)
			}
		}
	}
	return all, nil
}
