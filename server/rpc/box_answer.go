package rpc

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// box finds the box inside which the answer holds, or nothing where it does not
// hold as it stands. Sides that are only where the search ended are left out;
// the limits of type and deck are always in.
func (r *run) box(a *takeoff.Assessment) *bowrollv1.ValidityBox {
	res := r.res
	if a.Verdict.Outcome().Holds() {
		return nil
	}
	q := takeoff.BoxQuestion{
		Units: res.Setting.Units, Firing: a.Firing, Policy: modelPolicy(res.Policy), AvailableM: res.Available,
		Covered: a.Legs != nil, CrosswindLimitMPS: res.Limits.CrosswindMPS,
	}
	if res.Limits.CeilingMPS != nil {
		q.MostHeadwindMPS = *res.Limits.CeilingMPS
	}
	found, ok := r.runner.Box(&r.schedule, q)
	if !ok {
		return nil
	}
	t := res.Setting.Aircraft
	out := &bowrollv1.ValidityBox{
		GreatestCrosswindMps: res.Limits.CrosswindMPS,
		SpotToleranceM:       proto.Float64(found.SpotM),
		UntilTime:            res.Case.GetUntilTime(),
		KeptFraction:         proto.Float64(found.Shrunk),
	}
	out.LeastHeadwindMps, out.GreatestHeadwindMps = ends(found.HeadwindMPS, false, res.Limits.CeilingMPS != nil)
	out.LeastMassKg, out.GreatestMassKg = ends(found.GrossMassKG, t.EmptyMassKG > 0, t.MaxMassKG > 0)
	out.LeastTemperatureC, out.GreatestTemperatureC = ends(found.AirC, false, false)
	if found.GrainC != nil {
		limited := res.Setting.Units[0].Type.Firing != nil
		out.LeastGrainTemperatureC, out.GreatestGrainTemperatureC = ends(*found.GrainC, limited, limited)
	}
	// A tailwind limit of deck or type bounds the headwind too.
	if tail := res.Limits.TailwindMPS; tail != nil && (out.LeastHeadwindMps == nil || *out.LeastHeadwindMps < -*tail) {
		out.LeastHeadwindMps = proto.Float64(-*tail)
	}
	return out
}

// ends are the ends of a range that are known to mean something.
func ends(b takeoff.BoxRange, lowMeant, highMeant bool) (low, high *float64) {
	if b.LowFound || lowMeant {
		low = proto.Float64(b.Low)
	}
	if b.HighFound || highMeant {
		high = proto.Float64(b.High)
	}
	return low, high
}

// CheckBox holds live conditions against the box of an answer.
func (t *Takeoffs) CheckBox(_ context.Context, req *bowrollv1.TakeoffsCheckBoxRequest) (*bowrollv1.TakeoffsCheckBoxResponse, error) {
	items, holds := checkBox(req.GetBox(), req.GetLive())
	return &bowrollv1.TakeoffsCheckBoxResponse{Holds: holds, Items: items, Provenance: provenance(t.resolver.catalog, req)}, nil
}

// checkBox holds live conditions against a box, the items that do not hold first.
// Answers and the cards of kept plans are held against what is measured by it
// alone.
func checkBox(box *bowrollv1.ValidityBox, live *bowrollv1.LiveConditions) (out []*bowrollv1.ValidityItem, holds bool) {
	sides := takeoff.Box{
		HeadwindMPS:  between(box.LeastHeadwindMps, box.GreatestHeadwindMps),
		GrossMassKG:  between(box.LeastMassKg, box.GreatestMassKg),
		AirC:         between(box.LeastTemperatureC, box.GreatestTemperatureC),
		SpotM:        math.Inf(1),
		CrosswindMPS: box.GreatestCrosswindMps,
	}
	if box.SpotToleranceM != nil {
		sides.SpotM = box.GetSpotToleranceM()
	}
	if box.LeastGrainTemperatureC != nil || box.GreatestGrainTemperatureC != nil {
		grain := between(box.LeastGrainTemperatureC, box.GreatestGrainTemperatureC)
		sides.GrainC = &grain
	}
	now := takeoff.Live{
		HeadwindMPS: live.HeadwindMps, CrosswindMPS: live.CrosswindMps, GrossMassKG: live.GrossMassKg,
		AirC: live.TemperatureC, GrainC: live.GetGrainTemperatureC(), SpotM: live.SpotOffsetM,
	}
	var until *time.Time
	if box.GetUntilTime() != nil {
		until = new(box.GetUntilTime().AsTime())
	}
	if live.GetTime() != nil {
		now.Now = new(live.GetTime().AsTime())
	}
	items, holds := sides.Check(now, until)
	for _, i := range items {
		out = append(out, itemAnswer(i))
	}
	slices.SortStableFunc(out, func(x, y *bowrollv1.ValidityItem) int { return truth(x.GetHolds()) - truth(y.GetHolds()) })
	return out, holds
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// between is a range with ends that may be open.
func between(low, high *float64) takeoff.BoxRange {
	r := takeoff.BoxRange{Low: math.Inf(-1), High: math.Inf(1)}
	if low != nil {
		r.Low = *low
	}
	if high != nil {
		r.High = *high
	}
	return r
}

func itemAnswer(i takeoff.BoxItem) *bowrollv1.ValidityItem {
	out := &bowrollv1.ValidityItem{Quantity: i.Quantity, Holds: i.Holds}
	if i.Until != nil {
		until := i.Until.UTC().Format(time.RFC3339)
		switch {
		case i.Now == nil:
			out.Text = "The time is not known; the box is void after " + until + "."
		case i.Holds:
			out.Text = "Holds until " + until + "."
		default:
			out.Text = "Void since " + until + "."
		}
		return out
	}
	if i.Value != nil {
		out.Value = finite(*i.Value)
	}
	permitted := "anything"
	if i.Low != nil {
		out.Least = finite(*i.Low)
	}
	if i.High != nil {
		out.Greatest = finite(*i.High)
	}
	switch {
	case out.Least != nil && out.Greatest != nil:
		permitted = fmt.Sprintf("%.5g to %.5g", *out.Least, *out.Greatest)
	case out.Least != nil:
		permitted = fmt.Sprintf("at least %.5g", *out.Least)
	case out.Greatest != nil:
		permitted = fmt.Sprintf("at most %.5g", *out.Greatest)
	}
	switch {
	case out.Value == nil:
		out.Text = fmt.Sprintf("%s is not known and must be %s.", i.Quantity, permitted)
	case i.Holds:
		out.Text = fmt.Sprintf("%s is %.5g, inside %s.", i.Quantity, *out.Value, permitted)
	default:
		out.Text = fmt.Sprintf("%s is %.5g and must be %s.", i.Quantity, *out.Value, permitted)
	}
	return out
}
