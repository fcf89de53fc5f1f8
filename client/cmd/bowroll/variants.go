package main

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet/cyclesheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// knot is one knot in metres a second.
const knot = 1852.0 / 3600

// whatIfs are the conditions that a planner asks about on every cycle.
var whatIfs = []struct {
	name  string
	apply func(c *bowrollv1.Cycle) bool // false where it does not apply
}{
	{"wind 3 kt less", func(c *bowrollv1.Cycle) bool { return wind(c, -3*knot) }},
	{"wind 3 kt more", func(c *bowrollv1.Cycle) bool { return wind(c, 3*knot) }},
	{"air 5 degC hotter", func(c *bowrollv1.Cycle) bool {
		hotter := c.GetAir().GetTemperatureC() + 5
		c.Air.TemperatureC = &hotter
		return hotter <= 60
	}},
	{"one pair fewer of each lot", func(c *bowrollv1.Cycle) bool { return pair(c, -2) }},
	{"one pair more of each lot", func(c *bowrollv1.Cycle) bool { return pair(c, 2) }},
	{"one fitting team more", func(c *bowrollv1.Cycle) bool {
		if c.GetCrews() == nil {
			return false
		}
		teams := c.GetCrews().GetTeamCount() + 1
		c.Crews.TeamCount = &teams
		return true
	}},
}

// wind changes the natural wind in all its states, none below a calm.
func wind(c *bowrollv1.Cycle, by float64) bool {
	w := c.GetNaturalWind()
	shift := func(v *float64) *float64 {
		if v == nil {
			return nil
		}
		changed := max(0, *v+by)
		return &changed
	}
	w.SpeedMps, w.LullMps, w.GustMps = shift(w.SpeedMps), shift(w.LullMps), shift(w.GustMps)
	return true
}

// pair changes the usable count of every lot that may be used.
func pair(c *bowrollv1.Cycle, by int32) bool {
	for _, l := range c.GetLots() {
		count := max(0, l.GetUsableCount()+by)
		l.UsableCount = &count
	}
	return len(c.GetLots()) > 0
}

// variants plans the cycle under other conditions.
func (p *program) variants(to *client.Client, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) ([]cyclesheet.Variant, error) {
	list := []cyclesheet.Variant{variant("as planned", plan, plan)}
	for _, w := range whatIfs {
		changed := proto.Clone(asked).(*bowrollv1.Cycle)
		if !w.apply(changed) {
			continue
		}
		other, err := to.Cycles.Plan(p.ctx, &bowrollv1.CyclesPlanRequest{Cycle: changed})
		if err != nil {
			return nil, err
		}
		list = append(list, variant(w.name, plan, other))
	}
	return list, nil
}

func variant(name string, base, plan *bowrollv1.CyclePlan) cyclesheet.Variant {
	before, after := launching(base), launching(plan)
	v := cyclesheet.Variant{Name: name, Launched: len(after), Priority: int(plan.GetObjective().GetPriorityLaunched()),
		UnitsOut: int(plan.GetObjective().GetUnitsUsed()), Proven: plan.GetOptimal()}
	for _, id := range after {
		if !slices.Contains(before, id) {
			v.Besides = append(v.Besides, id)
		}
	}
	for _, id := range before {
		if !slices.Contains(after, id) {
			v.Dropped = append(v.Dropped, id)
		}
	}
	return v
}

func launching(plan *bowrollv1.CyclePlan) []string {
	var ids []string
	for _, l := range plan.GetLaunches() {
		ids = append(ids, l.GetSortie())
	}
	return ids
}
