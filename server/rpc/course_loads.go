package rpc

import (
	"context"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/takeoff"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// loads settles the limits of every load given.
func (b *courseBuilder) loads(ctx context.Context) error {
	seen := map[string]int{}
	searched := make([]*windLoad, len(b.req.GetLoads()))
	plan := b.req.GetFiringPlan()
	if plan == bowrollv1.FiringPlan_FIRING_PLAN_UNSPECIFIED {
		plan = bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED
	}
	for i, load := range b.req.GetLoads() {
		path := "loads[" + strconv.Itoa(i) + "]"
		if before, again := seen[load.GetId()]; again {
			b.fault(path+".id", strconv.Quote(load.GetId()), "unique", "an id of its own", "loads["+strconv.Itoa(before)+"] has it")
		}
		seen[load.GetId()] = i
		if load.GetCase() == nil {
			b.given(load)
			continue
		}
		found, faults, err := b.w.resolver.windLoad(ctx, path+".case", load.GetCase(), plan)
		if err != nil {
			return err
		}
		b.list = append(b.list, faults...)
		if found != nil {
			if deck := load.GetCase().GetDeck(); b.req.GetDeck() != "" && deck != "" && deck != b.req.GetDeck() {
				b.fault(path+".case.deck", strconv.Quote(deck), "goes-with", b.req.GetDeck(), "one course is for one deck")
			}
			searched[i] = found
			b.out.loads = append(b.out.loads, &courseLoad{used: &bowrollv1.CourseLoadUsed{Id: load.GetId()}})
			b.out.digested = append(b.out.digested, found.res.Case)
		}
	}
	if len(b.list) > 0 {
		return nil
	}
	if err := b.search(ctx, searched); err != nil {
		return err
	}
	b.fillQuery()
	return nil
}

// given takes a load over whose limits are known, inside those of the deck.
func (b *courseBuilder) given(load *bowrollv1.CourseLoad) {
	limits := proto.CloneOf(load.GetLimits())
	if b.deck != nil {
		limits.CrosswindLimitMps = lesser(limits.CrosswindLimitMps, b.deck.CrosswindLimitMps)
		limits.TailwindLimitMps = lesser(limits.TailwindLimitMps, b.deck.TailwindLimitMps)
		limits.WindCeilingMps = lesser(limits.WindCeilingMps, b.deck.WindCeilingMps)
	}
	b.out.loads = append(b.out.loads, &courseLoad{used: &bowrollv1.CourseLoadUsed{Id: load.GetId(), Limits: limits}})
	b.out.digested = append(b.out.digested, load)
}

// search finds the limits of the loads given as cases, several at a time.
func (b *courseBuilder) search(ctx context.Context, searched []*windLoad) error {
	return parallel(ctx, b.w.workers, len(searched), func(i int) error {
		if searched[i] == nil {
			return nil
		}
		limit, err := searched[i].find()
		if err != nil {
			return err
		}
		load := b.out.loads[i]
		load.used.UnitCount = proto.Int32(searched[i].count)
		load.used.State = windLimitAnswer(limit).GetState().Enum()
		load.used.Binds = binding(limit.Binds)
		load.used.Limits = boundsAnswer(searched[i].bounds(limit))
		load.cautions = slices.DeleteFunc(searched[i].cautions(limit), func(c *bowrollv1.Caution) bool {
			return c.GetId() == "wind-taken-as-natural" // the course knows the ship's speed
		})
		return nil
	})
}

func boundsAnswer(l wind.Limits) *bowrollv1.WindBounds {
	return &bowrollv1.WindBounds{
		LeastHeadwindMps: l.LeastHeadwindMPS, GreatestHeadwindMps: l.GreatestHeadwindMPS,
		CrosswindLimitMps: l.GreatestCrosswindMPS, TailwindLimitMps: l.GreatestTailwindMPS, WindCeilingMps: l.CeilingMPS,
	}
}

// fillQuery puts the loads that some wind does for into the query.
func (b *courseBuilder) fillQuery() {
	for _, load := range b.out.loads {
		if load.used.GetState() == bowrollv1.LimitState_LIMIT_STATE_NONE {
			continue
		}
		l := load.used.GetLimits()
		b.out.query.Loads = append(b.out.query.Loads, wind.Load{Name: load.used.GetId(), Limits: wind.Limits{
			LeastHeadwindMPS: l.LeastHeadwindMps, GreatestHeadwindMPS: l.GreatestHeadwindMps,
			GreatestCrosswindMPS: l.CrosswindLimitMps, GreatestTailwindMPS: l.TailwindLimitMps, CeilingMPS: l.WindCeilingMps,
		}})
	}
}

// cycle plans the cycle and makes every launch with its units a load.
func (b *courseBuilder) cycle(ctx context.Context) error {
	cycle := proto.CloneOf(b.req.GetCycle())
	if b.out.reading != nil {
		cycle.NaturalWind = b.out.reading.GetNaturalWind()
	}
	plan, err := b.w.cycles.Plan(ctx, &bowrollv1.CyclesPlanRequest{Cycle: cycle})
	if err != nil {
		return err
	}
	sorties := map[string]*bowrollv1.Sortie{}
	for _, s := range cycle.GetSorties() {
		sorties[s.GetId()] = s
	}
	var searched []*windLoad
	for _, launch := range plan.GetLaunches() {
		load, err := b.launch(ctx, cycle, sorties[launch.GetSortie()], launch)
		if err != nil {
			return err
		}
		searched = append(searched, load)
		b.out.loads = append(b.out.loads, &courseLoad{used: &bowrollv1.CourseLoadUsed{Id: launch.GetSortie()}})
	}
	for _, held := range plan.GetHeld() {
		b.out.held = append(b.out.held, held.GetSortie())
	}
	if n := len(plan.GetLaunches()); b.out.query.LaunchS == nil && n > 0 {
		b.out.query.LaunchS = proto.Float64(plan.GetLaunches()[n-1].GetLaunchS() - plan.GetLaunches()[0].GetLaunchS())
	}
	b.out.digested = append(b.out.digested, &bowrollv1.Provenance{RequestDigest: plan.GetProvenance().GetRequestDigest()})
	if err := b.search(ctx, searched); err != nil {
		return err
	}
	b.fillQuery()
	return nil
}

// launch is a planned launch as a load, its units at the temperatures of the
// lots they are drawn from.
func (b *courseBuilder) launch(ctx context.Context, cycle *bowrollv1.Cycle, s *bowrollv1.Sortie, launch *bowrollv1.PlannedLaunch) (*windLoad, error) {
	asked := &bowrollv1.TakeoffCase{
		Id: s.GetId(), AircraftType: s.GetAircraftType(), Aircraft: s.GetAircraft(), Flap: s.GetFlap(), GrossMassKg: s.GrossMassKg,
		Air: cycle.GetAir(), Deck: cycle.GetDeck(), Spot: launch.GetSpot(), AvailableM: s.AvailableM, Policy: b.out.policy,
	}
	grains := map[string]float64{} // by station
	var inOrder []float64
	for _, draw := range launch.GetDraws() {
		lot := cycleLot(cycle, draw.GetLot())
		if asked.Boosters == nil {
			asked.Boosters = &bowrollv1.Boosters{
				Count: proto.Int32(0), BoosterType: lot.GetBoosterType(), Type: lot.GetType(), GrainTemperatureC: lot.GrainTemperatureC,
				Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
			}
		}
		*asked.Boosters.Count += draw.GetUnitCount()
		for i := range draw.GetUnitCount() {
			inOrder = append(inOrder, lot.GetGrainTemperatureC())
			if int(i) < len(draw.GetStations()) {
				grains[draw.GetStations()[i]] = lot.GetGrainTemperatureC()
			}
		}
	}
	load, faults, err := b.w.resolver.windLoad(ctx, "cycle", asked, bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, refusal.Invalid(faults)
	}
	stations := loadingStations(load.res.Case.GetAircraft(), len(inOrder))
	units := load.res.Setting.Units
	for i := range units {
		units[i].GrainTemperatureC = inOrder[i]
		if i < len(stations) {
			units[i].GrainTemperatureC = grains[stations[i]]
		}
	}
	question := load.res.windQuestion(load.plan)
	load.ask(ctx, b.w.resolver.sampler, &question)
	load.search, err = takeoff.NewWindSearch(load.res.Setting, question)
	if err != nil {
		return nil, refusal.Invalid(refusal.FromModel("cycle", err))
	}
	return load, nil
}

func cycleLot(cycle *bowrollv1.Cycle, id string) *bowrollv1.Lot {
	for _, lot := range cycle.GetLots() {
		if lot.GetId() == id {
			return lot
		}
	}
	return nil
}

// loadingStations are the stations of the loading with so many units, none where
// the type states none.
func loadingStations(t *bowrollv1.AircraftType, count int) []string {
	for _, l := range t.GetLoadings() {
		if int(l.GetUnitCount()) == count && len(t.GetStations()) > 0 {
			return l.GetStations()
		}
	}
	return nil
}
