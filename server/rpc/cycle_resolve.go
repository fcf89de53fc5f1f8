package rpc

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// resolvedCycle is a cycle with every name replaced by what it stands for.
type resolvedCycle struct {
	prefix  string // of its fields in the request
	cycle   *bowrollv1.Cycle
	deck    *bowrollv1.Deck
	site    *bowrollv1.Site
	policy  *bowrollv1.Policy
	ship    *bowrollv1.Ship // nil ashore
	sorties []*resolvedSortie
	lots    []resolvedLot
	sampler *sampler
	// narrowed says that not every mixture of lots was tried.
	narrowed bool
	// setting names all that the sorties share and a take-off depends on; see
	// [resolvedCycle.likeness].
	setting string
}

// resolvedSortie is one sortie without units yet.
type resolvedSortie struct {
	sortie *bowrollv1.Sortie
	base   *resolved // the take-off without units
	counts []int     // unit counts permitted, rising
	// places it may launch from: its spot or run, or the spots of its group that
	// take it.
	places []place
	// like names what of the sortie itself a take-off depends on.
	like string
}

// place is where a sortie may stand.
type place struct {
	spot    string
	at      *resolved // the take-off from there without units
	launchS float64
}

// resolvedLot is one lot.
type resolvedLot struct {
	lot       *bowrollv1.Lot
	kind      *booster.Type
	like      string // names what of the lot a take-off depends on
	expire    time.Time
	available int    // usable units less the lot's reserve
	barred    string // why none of it may be used, whatever the time; empty where it may
	borrowed  bool   // it lies elsewhere in the fleet
}

// resolveCycle turns a cycle into model input with every fault at once. It stops
// when ctx ends.
func (r resolver) resolveCycle(ctx context.Context, prefix string, c *bowrollv1.Cycle) (*resolvedCycle, []*bowrollv1.Violation, error) {
	if c == nil {
		return nil, []*bowrollv1.Violation{{Field: prefix, Rule: "required", Allowed: "given"}}, nil
	}
	found, err := refusal.Check(r.validator, prefix, c)
	if err != nil {
		return nil, nil, err
	}
	f := &faults{prefix: prefix, list: found}
	out := &resolvedCycle{prefix: prefix, cycle: proto.CloneOf(c), sampler: r.sampler}
	r.resolveCycleDeck(out, f)
	r.resolveLots(out, f)
	checkQueue(c, f)
	checkGroups(out, f)
	// Sorties are judged by data only where what they share is sound: otherwise
	// each would repeat the same fault.
	if !sharedFault(prefix, f.list) {
		if err := r.resolveSorties(ctx, out, f); err != nil {
			return nil, nil, err
		}
	}
	if len(f.list) > 0 {
		return nil, f.list, nil
	}
	out.setting = canonical.Digest(c.GetAir(), c.GetNaturalWind(), out.ship, out.policy, out.deck, c.GetDispersions())
	return out, nil, nil
}

// sharedFault tells whether a fault is of the cycle as a whole.
func sharedFault(prefix string, list []*bowrollv1.Violation) bool {
	return slices.ContainsFunc(list, func(v *bowrollv1.Violation) bool {
		rest := strings.TrimPrefix(v.GetField(), prefix+".")
		return !strings.HasPrefix(rest, "sorties[") && !strings.HasPrefix(rest, "lots[")
	})
}

// resolveCycleDeck finds deck and site, and settles policy, course and speed.
func (r resolver) resolveCycleDeck(out *resolvedCycle, f *faults) {
	c := out.cycle
	deck, ok := r.catalog.Deck(c.GetDeck())
	if !ok {
		if c.GetDeck() != "" {
			f.unknown("deck", c.GetDeck(), r.catalog.DeckNames(), "see the catalog")
		}
		return
	}
	out.deck = deck
	out.site, _ = r.catalog.Site(siteName(c.GetDeck()))
	out.policy = policyUsed(c.GetPolicy(), deck.GetPolicy())
	c.Policy = out.policy
	if out.site.GreatestSpeedMps == nil {
		if c.GetShip() != nil {
			f.add("ship", "", "goes-with", "", "the site "+out.site.GetName()+" does not move")
		}
		return
	}
	out.ship = c.GetShip()
	least, greatest := out.site.GetLeastSpeedMps(), out.site.GetGreatestSpeedMps()
	if c.LeastSpeedMps != nil {
		least = c.GetLeastSpeedMps()
	}
	if c.GreatestSpeedMps != nil {
		greatest = c.GetGreatestSpeedMps()
	}
	if ceiling := out.site.GetGreatestSpeedMps(); max(least, greatest, out.ship.GetSpeedMps()) > ceiling {
		f.add("greatest_speed_mps", number(max(least, greatest, out.ship.GetSpeedMps())), "range",
			"at most "+number(ceiling)+" m/s, the greatest speed of "+out.site.GetName(), "")
		return
	}
	if out.ship == nil {
		settled := wind.HeadUpUnder(naturalWind(c.GetNaturalWind()), deck.GetAxisOffsetDeg(), least, greatest, deck.WindCeilingMps)
		out.ship = &bowrollv1.Ship{CourseDeg: proto.Float64(settled.CourseDeg), SpeedMps: proto.Float64(settled.SpeedMPS)}
	}
	c.Ship = out.ship
}

// siteName is the site that a deck's name says it is on.
func siteName(deck string) string {
	site, _, _ := strings.Cut(deck, "/decks/")
	return site
}

func (r resolver) resolveLots(out *resolvedCycle, f *faults) {
	seen := map[string]int{}
	for i, lot := range out.cycle.GetLots() {
		path := "lots[" + strconv.Itoa(i) + "]"
		if first, again := seen[lot.GetId()]; again {
			f.add(path+".id", strconv.Quote(lot.GetId()), "unique", "an id of its own", "lots["+strconv.Itoa(first)+"] has it")
		} else {
			seen[lot.GetId()] = i
		}
		if lot.GetBoosterType() != "" {
			t, ok := r.catalog.BoosterType(lot.GetBoosterType())
			if !ok {
				f.unknown(path+".booster_type", lot.GetBoosterType(), r.catalog.BoosterTypeNames(), "see the catalog")
				continue
			}
			lot.Type, lot.BoosterType = t, ""
		} else if lot.GetType() != nil {
			for _, v := range catalog.CheckBoosterType(lot.GetType()) {
				f.list = append(f.list, under(f.prefix+"."+path+".type", v))
			}
		}
		if lot.GetType() == nil {
			continue
		}
		if c := out.cycle; c.ReserveProbability != nil && lot.GetType().DudProbability == nil {
			f.add(path+".type.dud_probability", "", "required", "stated by the booster type",
				"without it no reserve can be sized: state it, or give reserve_count in place of reserve_probability")
		}
		resolved := resolvedLot{
			lot: lot, kind: r.catalog.boosterModel(lot.GetType()), expire: lot.GetExpireTime().AsTime(),
			available: max(0, int(lot.GetUsableCount())-int(lot.GetReserveCount())),
		}
		switch limits := resolved.kind.Firing; {
		case lot.GetQuarantined():
			resolved.barred = "quarantined"
		case limits != nil && !limits.Contains(lot.GetGrainTemperatureC()):
			resolved.barred = "at " + number(lot.GetGrainTemperatureC()) + " degC outside its firing limits of " +
				number(limits.MinC) + " to " + number(limits.MaxC) + " degC"
		case !resolved.expire.After(out.cycle.GetStartTime().AsTime()):
			resolved.barred = "expired"
		}
		out.lots = append(out.lots, resolved)
	}
	// Lots of one type share the model's type, so that their units can be told to
	// be alike.
	for i := range out.lots {
		for j := range i {
			if proto.Equal(out.lots[i].lot.GetType(), out.lots[j].lot.GetType()) {
				out.lots[i].kind, out.lots[i].like = out.lots[j].kind, out.lots[j].like
				break
			}
		}
		if out.lots[i].like == "" {
			out.lots[i].like = canonical.Digest(out.lots[i].lot.GetType())
		}
	}
	for i := range out.lots {
		out.lots[i].like += "@" + number(out.lots[i].lot.GetGrainTemperatureC())
	}
}

// checkQueue judges what the sorties are to each other.
func checkQueue(c *bowrollv1.Cycle, f *faults) {
	seen := map[string]int{}
	before := math.Inf(-1)
	for i, s := range c.GetSorties() {
		path := "sorties[" + strconv.Itoa(i) + "]"
		if first, again := seen[s.GetId()]; again {
			f.add(path+".id", strconv.Quote(s.GetId()), "unique", "an id of its own", "sorties["+strconv.Itoa(first)+"] has it")
		} else {
			seen[s.GetId()] = i
		}
		if s.LaunchS != nil {
			if s.GetLaunchS() < before {
				f.add(path+".launch_s", number(s.GetLaunchS()), "order", "at least "+number(before)+", the time of the one before",
					"list the sorties in launch order")
			}
			before = max(before, s.GetLaunchS())
		}
	}
}

// resolveSorties resolves each sortie as a take-off without units.
func (r resolver) resolveSorties(ctx context.Context, out *resolvedCycle, f *faults) error {
	c := out.cycle
	known := map[string]*resolvedSortie{} // sorties alike in all but name, time and worth
	for i, s := range c.GetSorties() {
		if err := ctx.Err(); err != nil {
			return status.FromContextError(err).Err()
		}
		path := "sorties[" + strconv.Itoa(i) + "]"
		prefix := f.prefix + "." + path
		if f.has(path) {
			continue
		}
		asked := &bowrollv1.TakeoffCase{
			Id: s.GetId(), AircraftType: s.GetAircraftType(), Aircraft: s.GetAircraft(), Flap: s.GetFlap(),
			GrossMassKg: s.GrossMassKg, Air: c.GetAir(), NaturalWind: c.GetNaturalWind(), Ship: out.ship,
			Deck: c.GetDeck(), Spot: s.GetSpot(), AvailableM: s.AvailableM, Policy: out.policy,
			Dispersions: c.GetDispersions(),
		}
		group := groupOf(c, s.GetGroup())
		if group != nil {
			// The span is held against each spot below: one that does not take the
			// aircraft is no fault, it only goes elsewhere.
			asked.Spot, asked.AvailableM = "", proto.Float64(longest(out.deck, group))
		}
		like := likeSortie(s, asked)
		if twin := known[like]; twin != nil {
			base := *twin.base
			base.Case = proto.CloneOf(twin.base.Case)
			base.Case.Id = s.GetId()
			s.Aircraft, s.AircraftType = base.Case.GetAircraft(), ""
			resolved := &resolvedSortie{sortie: s, base: &base, counts: permitted(s, path, f), like: like}
			resolved.places = out.placesOf(resolved, group)
			out.sorties = append(out.sorties, resolved)
			continue
		}
		base, found, err := r.resolve(prefix, asked)
		if err != nil {
			return err
		}
		if len(found) > 0 {
			f.list = append(f.list, found...)
			continue
		}
		s.Aircraft, s.AircraftType = base.Case.GetAircraft(), ""
		resolved := &resolvedSortie{sortie: s, base: base, counts: permitted(s, path, f), like: like}
		resolved.places = out.placesOf(resolved, group)
		out.sorties = append(out.sorties, resolved)
		known[like] = resolved
	}
	return nil
}

// likeSortie names what of a sortie a take-off depends on, besides what the
// cycle's sorties share.
func likeSortie(s *bowrollv1.Sortie, asked *bowrollv1.TakeoffCase) string {
	kind := s.GetAircraftType()
	if kind == "" {
		kind = canonical.Digest(s.GetAircraft())
	}
	available := ""
	if asked.AvailableM != nil {
		available = number(asked.GetAvailableM())
	}
	return strings.Join([]string{kind, s.GetFlap(), number(s.GetGrossMassKg()), asked.GetSpot(), available}, " ")
}

// permitted lists the unit counts that a sortie may have.
func permitted(s *bowrollv1.Sortie, path string, f *faults) []int {
	loadings := []int{0}
	for _, l := range s.GetAircraft().GetLoadings() {
		loadings = append(loadings, int(l.GetUnitCount()))
	}
	slices.Sort(loadings)
	loadings = slices.Compact(loadings)
	if len(s.GetPermittedCounts()) == 0 {
		return loadings
	}
	var counts []int
	for i, n := range s.GetPermittedCounts() {
		if !slices.Contains(loadings, int(n)) {
			var known []string
			for _, l := range loadings {
				known = append(known, strconv.Itoa(l))
			}
			f.add(path+".permitted_counts["+strconv.Itoa(i)+"]", strconv.Itoa(int(n)), "loading", oneOf(known), "a loading of the aircraft type")
			continue
		}
		counts = append(counts, int(n))
	}
	slices.Sort(counts)
	return counts
}
