package rpc

import (
	"context"
	"sort"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/calibrate"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/store"
)

// mostRuns is how many runs one answer takes in.
const mostRuns = 5000

// observedRun turns a run into what the calibration works on. The faults are
// complete; an error is a fault of the service.
func (rs resolver) observedRun(prefix, site string, m *bowrollv1.ObservedRun) (*calibrate.Run, []*bowrollv1.Violation, error) {
	sent := m.GetConditions()
	if sent == nil {
		return nil, []*bowrollv1.Violation{{Field: prefix + ".conditions", Rule: "required", Allowed: "given"}}, nil
	}
	f := &faults{prefix: prefix + ".conditions"}
	if sent.GetAircraftType() == "" {
		f.add("aircraft_type", "", "required", "an aircraft type of the catalog", "runs teach about types that are kept")
	}
	if !strings.HasPrefix(sent.GetDeck(), site+"/decks/") {
		f.add("deck", strconv.Quote(sent.GetDeck()), "site", "a deck of "+site, "a site keeps the runs of its own decks")
	}
	if sent.GetPolicy() != nil {
		f.add("policy", "", "absent", "not given", "what happened has no policy")
	}
	if sent.GetDispersions() != nil {
		f.add("dispersions", "", "absent", "not given", "state how well the run is known beside its measures")
	}
	switch mode := sent.GetBoosters().GetFiring().GetMode(); mode {
	case bowrollv1.FiringMode_FIRING_MODE_BEST, bowrollv1.FiringMode_FIRING_MODE_PLANNED:
		f.add("boosters.firing.mode", mode.String(), "observed", "FIRING_MODE_ROLLING with delay_s, FIRING_MODE_ON_BRAKES or FIRING_MODE_UNLIT", "say when they were fired")
	}
	own := []*bowrollv1.Violation{}
	if m.GetLot() != "" && sent.GetBoosters() == nil {
		own = append(own, &bowrollv1.Violation{Field: prefix + ".lot", Value: m.GetLot(), Rule: "goes-with", Allowed: "given with conditions.boosters only"})
	}
	if (m.GetPlan() == "") != (m.GetSortie() == "") {
		own = append(own, &bowrollv1.Violation{Field: prefix + ".sortie", Value: m.GetSortie(), Rule: "goes-with", Allowed: "given with plan, and plan with it"})
	}
	res, found, err := rs.resolve(prefix+".conditions", asObserved(sent))
	if err != nil {
		return nil, nil, err
	}
	own = append(append(f.list, own...), found...)
	if len(own) > 0 {
		return nil, own, nil
	}
	// Faults that only the model can tell.
	if _, err := takeoff.NewRunner(res.Setting); err != nil {
		return nil, refusal.FromModel(prefix+".conditions", err), nil
	}
	return calibrationRun(m, res), nil, nil
}

// asObserved is a case whose wind is used whole and at its mean: what happened
// was not planned on a lull.
func asObserved(c *bowrollv1.TakeoffCase) *bowrollv1.TakeoffCase {
	c = proto.CloneOf(c)
	c.Policy = &bowrollv1.Policy{HeadwindCredit: proto.Float64(1), TailwindFactor: proto.Float64(1)}
	if w := c.GetNaturalWind(); w != nil {
		w.LullMps, w.GustMps, w.DirectionSpreadDeg = nil, nil, nil
	}
	return c
}

func calibrationRun(m *bowrollv1.ObservedRun, res *resolved) *calibrate.Run {
	run := &calibrate.Run{
		ID: m.GetName(), Setting: res.Setting, Firing: res.Firing, Tail: m.GetTail(), Deck: m.GetConditions().GetDeck(), Lot: m.GetLot(),
		DistanceM: m.LiftoffDistanceM, TimeS: m.LiftoffTimeS, AirspeedMPS: m.LiftoffAirspeedMps,
		Sigma:            calibrate.DefaultSigma(res.Setting.GrossMassKG),
		LeastHeadwindMPS: m.LeastDeckHeadwindMps, GreatestHeadwindMPS: m.GreatestDeckHeadwindMps,
	}
	for _, given := range []struct {
		from *float64
		into *float64
	}{
		{m.DistanceSigmaM, &run.Sigma.DistanceM}, {m.TimeSigmaS, &run.Sigma.TimeS}, {m.AirspeedSigmaMps, &run.Sigma.AirspeedMPS},
		{m.HeadwindSigmaMps, &run.Sigma.HeadwindMPS}, {m.MassSigmaKg, &run.Sigma.MassKG}, {m.FiringSigmaS, &run.Sigma.FiringS},
	} {
		if given.from != nil {
			*given.into = *given.from
		}
	}
	return run
}

// resolvedRun is a run as it is kept, and what the calibration makes of it; nil
// with the reason where the catalog no longer has what it names.
type resolvedRun struct {
	message *bowrollv1.ObservedRun
	run     *calibrate.Run
	reason  string
}

// resolvedRuns reads the runs of a site that match and hold, in the order in
// which they launched.
func (o *Observations) resolvedRuns(ctx context.Context, rs resolver, site string, filter store.ObservedRunFilter) ([]resolvedRun, error) {
	var list []resolvedRun
	err := o.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		for after := ""; ; {
			page, err := reader.ObservedRuns(ctx, filter, after, mostListed)
			if err != nil {
				return err
			}
			for _, run := range page {
				after = run.ID
				m, err := runMessage(run)
				if err != nil {
					return err
				}
				list = append(list, resolvedRun{message: m})
			}
			if len(list) > mostRuns {
				return store.Errorf(store.Refused, "TOO_MANY_RUNS", "more than %d runs match: choose those of one type, aircraft, deck, lot or plan", mostRuns)
			}
			if len(page) < mostListed {
				return nil
			}
		}
	})
	if err != nil {
		return nil, err
	}
	sort.SliceStable(list, func(i, j int) bool {
		return list[i].message.GetLaunchTime().AsTime().Before(list[j].message.GetLaunchTime().AsTime())
	})
	for i := range list {
		if err := ctx.Err(); err != nil {
			return nil, contextFault(err)
		}
		run, faults, err := rs.observedRun("observed_run", "sites/"+site, list[i].message)
		if err != nil {
			return nil, err
		}
		list[i].run = run
		if len(faults) > 0 {
			list[i].reason = refusal.Sentence(faults)
		}
	}
	return list, nil
}
