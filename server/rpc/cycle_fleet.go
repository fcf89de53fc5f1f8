package rpc

import (
	"context"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// resolvedFleet is a fleet with every name replaced by what it stands for.
type resolvedFleet struct {
	fleet  *bowrollv1.Fleet
	cycles []*resolvedCycle
	pools  []*resolvedCycle // with lots alone
	start  time.Time        // of the earliest cycle
}

const fleetPrefix = "fleet"

// PlanFleet plans several decks at once.
func (c *Cycles) PlanFleet(ctx context.Context, req *bowrollv1.CyclesPlanFleetRequest) (*bowrollv1.FleetPlan, error) {
	rf, found, err := c.resolver.resolveFleet(ctx, req.GetFleet())
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	assessor := newAssessor(c.workers, nil)
	var wanted func(*resolvedSortie, *cycleFit) bool
	if req.GetIncludeOptions() {
		wanted = func(*resolvedSortie, *cycleFit) bool { return true }
	}
	fits := make([][][]*cycleFit, len(rf.cycles))
	for k, rc := range rf.cycles {
		if fits[k], err = assessor.all(ctx, rc, wanted); err != nil {
			return nil, err
		}
	}
	q := rf.queue(fits)
	res, err := q.solve(ctx, allocate.Options{Nodes: nodes(req.NodeLimit)})
	if err != nil {
		return nil, err
	}
	return c.fleetAnswer(ctx, rf, q, res, req)
}

// resolveFleet turns a fleet into model input with every fault at once.
func (r resolver) resolveFleet(ctx context.Context, fleet *bowrollv1.Fleet) (*resolvedFleet, []*bowrollv1.Violation, error) {
	if fleet == nil {
		return nil, []*bowrollv1.Violation{{Field: fleetPrefix, Rule: "required", Allowed: "given"}}, nil
	}
	// The cycles are judged one by one below.
	shell := proto.CloneOf(fleet)
	for i := range shell.GetCycles() {
		shell.Cycles[i] = plainCycle(i)
	}
	found, err := refusal.Check(r.validator, fleetPrefix, shell)
	if err != nil {
		return nil, nil, err
	}
	f := &faults{prefix: fleetPrefix, list: found}
	out := &resolvedFleet{fleet: proto.CloneOf(fleet)}
	for i, cycle := range out.fleet.GetCycles() {
		path := "cycles[" + strconv.Itoa(i) + "]"
		rc, faults, err := r.resolveCycle(ctx, fleetPrefix+"."+path, cycle)
		if err != nil {
			return nil, nil, err
		}
		f.list = append(f.list, faults...)
		if cycle.ReserveProbability != nil {
			f.add(path+".reserve_probability", number(cycle.GetReserveProbability()), "fleet", "not given in a fleet", "give reserve_count")
		}
		if at := cycle.GetStartTime().AsTime(); out.start.IsZero() || at.Before(out.start) {
			out.start = at
		}
		out.cycles = append(out.cycles, rc)
	}
	r.resolvePools(out, f)
	checkNames(out.fleet, f)
	checkTransfers(out.fleet, f)
	if len(f.list) > 0 {
		return nil, f.list, nil
	}
	out.lend()
	return out, nil, nil
}

// plainCycle stands for a cycle where the fleet around it is judged.
func plainCycle(i int) *bowrollv1.Cycle {
	return &bowrollv1.Cycle{
		Id: "cycle-" + strconv.Itoa(i), Deck: "sites/any/decks/any", StartTime: new(timestamppb.Timestamp),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(15)},
		NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(0), SpeedMps: proto.Float64(0)},
		Sorties: []*bowrollv1.Sortie{{
			Id: "any", AircraftType: "aircraftTypes/any", Flap: "any", GrossMassKg: proto.Float64(1000),
			AvailableM: proto.Float64(1), Priority: proto.Int32(1), LaunchS: proto.Float64(0),
		}},
	}
}

// resolvePools resolves the lots of pools as those of a cycle without sorties.
func (r resolver) resolvePools(out *resolvedFleet, f *faults) {
	for i, pool := range out.fleet.GetPools() {
		rc := &resolvedCycle{prefix: f.prefix + ".pools[" + strconv.Itoa(i) + "]", cycle: &bowrollv1.Cycle{Lots: pool.GetLots()}}
		if len(out.fleet.GetCycles()) > 0 {
			rc.cycle.StartTime = out.fleet.GetCycles()[0].GetStartTime()
		}
		inner := &faults{prefix: rc.prefix}
		r.resolveLots(rc, inner)
		f.list = append(f.list, inner.list...)
		out.pools = append(out.pools, rc)
	}
}

// checkNames wants cycles and pools told apart, and every lot in one place.
func checkNames(fleet *bowrollv1.Fleet, f *faults) {
	places, lots := map[string]string{}, map[string]string{}
	name := func(path, id string, seen map[string]string) {
		if first, again := seen[id]; again {
			f.add(path, strconv.Quote(id), "unique", "an id of its own in the fleet", first+" has it")
			return
		}
		seen[id] = path
	}
	for i, c := range fleet.GetCycles() {
		path := "cycles[" + strconv.Itoa(i) + "]"
		name(path+".id", c.GetId(), places)
		own := map[string]bool{}
		for j, l := range c.GetLots() {
			if !own[l.GetId()] { // twice in one cycle is told by the cycle
				name(path+".lots["+strconv.Itoa(j)+"].id", l.GetId(), lots)
			}
			own[l.GetId()] = true
		}
	}
	for i, p := range fleet.GetPools() {
		path := "pools[" + strconv.Itoa(i) + "]"
		name(path+".id", p.GetId(), places)
		own := map[string]bool{}
		for j, l := range p.GetLots() {
			if !own[l.GetId()] {
				name(path+".lots["+strconv.Itoa(j)+"].id", l.GetId(), lots)
			}
			own[l.GetId()] = true
		}
	}
}

// lotsOf are the lots of the cycle or pool of that name.
func lotsOf(fleet *bowrollv1.Fleet, id string) (lots []*bowrollv1.Lot, ok bool) {
	for _, c := range fleet.GetCycles() {
		if c.GetId() == id {
			return c.GetLots(), true
		}
	}
	for _, p := range fleet.GetPools() {
		if p.GetId() == id {
			return p.GetLots(), true
		}
	}
	return nil, false
}

// checkTransfers judges transfers: from where, to where, what, and no lot to one
// place by two ways.
func checkTransfers(fleet *bowrollv1.Fleet, f *faults) {
	var places, decks []string
	for _, c := range fleet.GetCycles() {
		places, decks = append(places, c.GetId()), append(decks, c.GetId())
	}
	for _, p := range fleet.GetPools() {
		places = append(places, p.GetId())
	}
	ways := map[[2]string]int{}
	for i, t := range fleet.GetTransfers() {
		path := "transfers[" + strconv.Itoa(i) + "]"
		lots, ok := lotsOf(fleet, t.GetOrigin())
		if !ok {
			f.unknown(path+".origin", t.GetOrigin(), places, "a cycle or pool of the fleet")
		}
		switch {
		case !slices.Contains(decks, t.GetDestination()):
			f.unknown(path+".destination", t.GetDestination(), decks, "a cycle of the fleet")
		case t.GetDestination() == t.GetOrigin():
			f.add(path+".destination", strconv.Quote(t.GetDestination()), "pair", "another place than the origin", "")
		}
		var known []string
		for _, l := range lots {
			known = append(known, l.GetId())
		}
		if ok && t.GetLot() != "" && !slices.Contains(known, t.GetLot()) {
			f.unknown(path+".lot", t.GetLot(), known, "a lot of "+t.GetOrigin())
			continue
		}
		for _, id := range known {
			if t.GetLot() != "" && t.GetLot() != id {
				continue
			}
			way := [2]string{id, t.GetDestination()}
			if first, again := ways[way]; again {
				f.add(path, id, "unique", "one transfer of a lot to a place", "transfers["+strconv.Itoa(first)+"] brings it there: join the two")
				break
			}
			ways[way] = i
		}
	}
}

// lend adds to each cycle the lots that transfers can bring it.
func (rf *resolvedFleet) lend() {
	own := make([][]resolvedLot, len(rf.cycles))
	for i, rc := range rf.cycles {
		own[i] = rc.lots
	}
	for i, rc := range rf.cycles {
		lots := slices.Clone(own[i])
		from := func(id string, there []resolvedLot) {
			for _, t := range rf.fleet.GetTransfers() {
				if t.GetOrigin() != id || t.GetDestination() != rc.cycle.GetId() {
					continue
				}
				for _, lot := range there {
					if t.GetLot() == "" || t.GetLot() == lot.lot.GetId() {
						lot.borrowed = true
						lots = append(lots, lot)
					}
				}
			}
		}
		for k, other := range rf.cycles {
			from(other.cycle.GetId(), own[k])
		}
		for k, pool := range rf.pools {
			from(rf.fleet.GetPools()[k].GetId(), pool.lots)
		}
		// Units of one type are alike wherever they lie.
		for a := range lots {
			for b := range a {
				if proto.Equal(lots[a].lot.GetType(), lots[b].lot.GetType()) {
					lots[a].kind = lots[b].kind
					break
				}
			}
		}
		rc.lots = lots
	}
}

// queue is the allocation of the fleet: a site for each cycle, then one for each
// pool.
func (rf *resolvedFleet) queue(fits [][][]*cycleFit) *queue {
	q := &queue{}
	at := map[string]int{}  // lot -> index
	sat := map[string]int{} // cycle or pool -> site
	for _, rc := range rf.cycles {
		site := len(q.problem.Sites)
		sat[rc.cycle.GetId()] = site
		q.problem.Sites = append(q.problem.Sites, rc.siteOf(rc.cycle.GetId()))
		for i := range rc.lots {
			if !rc.lots[i].borrowed {
				at[rc.lots[i].lot.GetId()] = q.addLot(&rc.lots[i], site)
			}
		}
	}
	var pools [][]resolvedLot
	for k, rc := range rf.pools {
		site := len(q.problem.Sites)
		pool := rf.fleet.GetPools()[k]
		sat[pool.GetId()] = site
		q.problem.Sites = append(q.problem.Sites, allocate.Site{ID: pool.GetId(), Reserve: int(pool.GetReserveCount())})
		for i := range rc.lots {
			at[rc.lots[i].lot.GetId()] = q.addLot(&rc.lots[i], site)
		}
		pools = append(pools, rc.lots)
	}
	q.rank(rf.cycles, pools)
	for _, t := range rf.fleet.GetTransfers() {
		tr := allocate.Transfer{
			From: sat[t.GetOrigin()], To: sat[t.GetDestination()], Lot: -1, MaxUnits: int(t.GetMostCount()),
			ArriveS: max(-allocate.MaxTimeS, min(allocate.MaxTimeS, up(t.GetArriveTime().AsTime().Sub(rf.start).Seconds()))),
		}
		if t.GetLot() != "" {
			tr.Lot = at[t.GetLot()]
		}
		q.problem.Transfers = append(q.problem.Transfers, tr)
	}
	for k, rc := range rf.cycles {
		p := &part{
			rc: rc, fits: fits[k], site: sat[rc.cycle.GetId()], prefix: rc.cycle.GetId() + "/",
			ahead: down(rc.cycle.GetStartTime().AsTime().Sub(rf.start).Seconds()),
		}
		for i := range rc.lots {
			p.lots = append(p.lots, at[rc.lots[i].lot.GetId()])
		}
		q.addSorties(p)
	}
	return q
}

// fleetAnswer puts a solved fleet into the contract's messages.
func (c *Cycles) fleetAnswer(ctx context.Context, rf *resolvedFleet, q *queue, res *allocate.Result, req *bowrollv1.CyclesPlanFleetRequest) (*bowrollv1.FleetPlan, error) {
	why, err := q.explain(res)
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.FleetPlan{
		Id: rf.fleet.GetId(), Proof: proofOf(res), Optimal: res.Status == allocate.Optimal,
		Objective: q.objective(res.Objective), Bound: q.bound(res), Levels: levels(res), ProofChecked: true,
		NodeCount: clamp(res.Nodes), Bindings: q.bindings(why.Binding),
	}
	out.Gap = out.Bound - float64(res.Objective.Priority)
	var asked []proto.Message
	for k, rc := range rf.cycles {
		p := &planner{workers: c.workers, q: q, part: q.parts[k], rc: rc, res: res, why: why, includeOptions: req.GetIncludeOptions()}
		plan, err := p.answer(ctx)
		if err != nil {
			return nil, err
		}
		plan.Objective, plan.Bindings, plan.Levels = p.share(), nil, nil
		plan.Bound, plan.Gap = float64(plan.GetObjective().GetPriorityLaunched()), 0
		if rc.cycle.GetDeckWork() != nil {
			if plan.Timeline, err = p.timeline(nil); err != nil {
				return nil, err
			}
		}
		plan.Cautions = p.cautions(plan)
		out.Plans = append(out.Plans, plan)
		asked = append(asked, rc.cycle, rc.deck, rc.site)
	}
	out.Transfers, out.Lots = rf.carried(q, res), rf.stock(q, res)
	if req.GetIncludeLp() {
		if out.LpStages, err = q.lpStages(res); err != nil {
			return nil, err
		}
	}
	asked = append(asked, rf.fleet, &bowrollv1.CyclesPlanFleetRequest{
		NodeLimit: req.NodeLimit, IncludeOptions: req.GetIncludeOptions(), IncludeLp: req.GetIncludeLp(),
	})
	out.Provenance = provenance(c.resolver.catalog, asked...)
	return out, nil
}

// share is what one cycle adds to the objective of the fleet.
func (p *planner) share() *bowrollv1.Objective {
	alone := slices.Clone(p.res.Choices)
	for i := range alone {
		if i < p.part.first || i >= p.part.first+len(p.rc.sorties) {
			alone[i] = allocate.Choice{Fit: allocate.Held}
		}
	}
	return p.q.objective(allocate.Value(&p.q.problem, alone))
}

// carried is what each transfer brings.
func (rf *resolvedFleet) carried(q *queue, res *allocate.Result) []*bowrollv1.TransferUse {
	list := make([]*bowrollv1.TransferUse, 0, len(rf.fleet.GetTransfers()))
	for k, t := range rf.fleet.GetTransfers() {
		use := &bowrollv1.TransferUse{Origin: t.GetOrigin(), Destination: t.GetDestination(), MostCount: t.GetMostCount()}
		way := &q.problem.Transfers[k]
		units := map[int]int{}
		for i, c := range res.Choices {
			if s := &q.problem.Sorties[i]; c.Fit != allocate.Held && s.Site == way.To {
				for _, d := range s.Fits[c.Fit].Draws {
					if q.problem.Lots[d.Lot].Site == way.From && (way.Lot < 0 || way.Lot == d.Lot) {
						units[d.Lot] += d.Units
					}
				}
			}
		}
		for l := range q.problem.Lots {
			if units[l] > 0 {
				use.Draws = append(use.Draws, &bowrollv1.Draw{Lot: q.problem.Lots[l].ID, UnitCount: int32(units[l])})
				use.UnitCount += int32(units[l])
			}
		}
		list = append(list, use)
	}
	return list
}

// stock is all lots of the fleet, before and after.
func (rf *resolvedFleet) stock(q *queue, res *allocate.Result) []*bowrollv1.LotUse {
	use := res.LotUse(&q.problem)
	var list []*bowrollv1.LotUse
	at := 0
	for _, rc := range append(slices.Clone(rf.cycles), rf.pools...) {
		for i := range rc.lots {
			if !rc.lots[i].borrowed {
				list = append(list, lotUse(&rc.lots[i], use[at], use[at]))
				at++
			}
		}
	}
	return list
}
