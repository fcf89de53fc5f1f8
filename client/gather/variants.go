package gather

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet/cyclesheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// knot is one knot in metres a second.
const knot = 1852.0 / 3600

// whatIfs are the conditions that a planner asks about on every cycle, the
// cycle as it is first. Each says false where it does not apply.
var whatIfs = []struct {
	name  string
	apply func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool
}{
	{"as planned", func(*bowrollv1.Cycle, *bowrollv1.CycleVariant) bool { return true }},
	{"wind 3 kt less", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool { return wind(c, v, -3*knot) }},
	{"wind 3 kt more", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool { return wind(c, v, 3*knot) }},
	{"air 5 degC hotter", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool {
		v.Air = proto.CloneOf(c.GetAir())
		hotter := c.GetAir().GetTemperatureC() + 5
		v.Air.TemperatureC = &hotter
		return hotter <= 60
	}},
	{"one pair fewer of each lot", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool { return pair(c, v, -2) }},
	{"one pair more of each lot", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool { return pair(c, v, 2) }},
	{"one fitting team more", func(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant) bool {
		if c.GetCrews() == nil {
			return false
		}
		v.Crews = proto.CloneOf(c.GetCrews())
		teams := v.GetCrews().GetTeamCount() + 1
		v.Crews.TeamCount = &teams
		return true
	}},
}

// wind changes the natural wind in all its states, none below a calm.
func wind(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant, by float64) bool {
	if c.GetNaturalWind() == nil {
		return false
	}
	w := proto.CloneOf(c.GetNaturalWind())
	shift := func(speed *float64) *float64 {
		if speed == nil {
			return nil
		}
		changed := max(0, *speed+by)
		return &changed
	}
	w.SpeedMps, w.LullMps, w.GustMps = shift(w.SpeedMps), shift(w.LullMps), shift(w.GustMps)
	v.NaturalWind = w
	return true
}

// pair changes the usable count of every lot.
func pair(c *bowrollv1.Cycle, v *bowrollv1.CycleVariant, by int32) bool {
	for _, l := range c.GetLots() {
		count := max(0, l.GetUsableCount()+by)
		v.Lots = append(v.Lots, &bowrollv1.LotCount{Lot: l.GetId(), UsableCount: &count})
	}
	return len(c.GetLots()) > 0
}

// Variants plans the cycle under other conditions, spending at most so many
// nodes on each; nil takes what the service takes.
func Variants(ctx context.Context, to *client.Client, asked *bowrollv1.Cycle, nodes *int32) ([]cyclesheet.Variant, error) {
	request := &bowrollv1.CyclesCompareRequest{Cycle: asked, NodeLimit: nodes}
	names := map[string]string{}
	for i, w := range whatIfs {
		v := &bowrollv1.CycleVariant{Id: fmt.Sprintf("v-%d", i)}
		if w.apply(asked, v) {
			request.Variants, names[v.Id] = append(request.Variants, v), w.name
		}
	}
	answer, err := to.Cycles.Compare(ctx, request)
	if err != nil {
		return nil, err
	}
	var list []cyclesheet.Variant
	for _, v := range answer.GetVariants() {
		list = append(list, cyclesheet.Variant{Name: names[v.GetId()], Launched: int(v.GetLaunchedCount()),
			Priority: int(v.GetObjective().GetPriorityLaunched()), UnitsOut: int(v.GetObjective().GetUnitsUsed()),
			Besides: v.GetLaunchedBesides(), Dropped: v.GetDropped(), Proven: v.GetOptimal()})
	}
	return list, nil
}
