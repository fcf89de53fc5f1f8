package rpc

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/air"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// maxTableCells is how many cells a table may have, maxSampledCells where each
// wind of a cell takes a sample.
const (
	maxTableCells   = 200_000
	maxSampledCells = 400
)

// A table is a request resolved.
type table struct {
	resolved *bowrollv1.WindLimitsTabulateRequest
	policy   *bowrollv1.Policy
	columns  []*tableColumn
	cells    int
}

// table resolves the request of a table with every fault at once.
func (r resolver) table(ctx context.Context, req *bowrollv1.WindLimitsTabulateRequest) (*table, []*bowrollv1.Violation, error) {
	found, err := refusal.Check(r.validator, "", req)
	if err != nil {
		return nil, nil, err
	}
	b := &tableBuilder{resolver: r, req: proto.CloneOf(req), faults: faults{list: found}}
	if len(found) > 0 {
		return nil, found, nil
	}
	t := &table{resolved: b.req}
	b.places()
	b.units()
	b.airs()
	b.loads()
	if len(b.faults.list) > 0 {
		return nil, b.faults.list, nil
	}
	if t.cells = b.count(); t.cells > maxTableCells {
		return nil, []*bowrollv1.Violation{{
			Value: strconv.Itoa(t.cells) + " cells", Rule: "size", Allowed: "at most " + strconv.Itoa(maxTableCells) + " cells",
			Field: "loads", Hint: "ask for fewer spots, masses or temperatures at once",
		}}, nil
	}
	t.policy = policyUsed(b.req.GetPolicy(), b.deck.GetPolicy())
	b.req.Policy = t.policy
	for _, load := range b.req.GetLoads() {
		if err := b.columns(ctx, t, load); err != nil {
			return nil, nil, err
		}
	}
	slow := slices.ContainsFunc(t.columns, func(c *tableColumn) bool { return c.load != nil && c.load.slow })
	if slow && t.cells > maxSampledCells {
		b.fault("loads", strconv.Itoa(t.cells)+" cells", "size", "at most "+strconv.Itoa(maxSampledCells)+" cells",
			"cells planned on a percentile or held to a probability are sampled at every wind: ask for fewer at once, or for the nominal best")
	}
	return t, b.faults.list, nil
}

// tableBuilder resolves a request, filling in what it leaves open.
type tableBuilder struct {
	resolver resolver
	req      *bowrollv1.WindLimitsTabulateRequest
	faults   faults
	deck     *bowrollv1.Deck
	spots    []*bowrollv1.Spot
	booster  *bowrollv1.BoosterType
	days     []air.Air
}

func (b *tableBuilder) fault(field, value, rule, allowed, hint string) {
	b.faults.list = append(b.faults.list, &bowrollv1.Violation{Field: field, Value: value, Rule: rule, Allowed: allowed, Hint: hint})
}

// unknown says that a name is none of those known.
func (b *tableBuilder) unknown(field, name string, known []string, where string) {
	b.faults.list = append(b.faults.list, unknown(field, name, known, where))
}

// places finds the deck and the spots.
func (b *tableBuilder) places() {
	deck, ok := b.resolver.catalog.Deck(b.req.GetDeck())
	if !ok {
		b.unknown("deck", b.req.GetDeck(), b.resolver.catalog.DeckNames(), "see the catalog")
		return
	}
	b.deck = deck
	switch {
	case b.req.AvailableM != nil:
		b.spots = []*bowrollv1.Spot{{AvailableM: b.req.AvailableM}}
	case len(b.req.GetSpots()) == 0:
		b.spots = deck.GetSpots()
		for _, s := range b.spots {
			b.req.Spots = append(b.req.Spots, s.GetId())
		}
		if len(b.spots) == 0 {
			b.fault("available_m", "", "required", "given", "the deck has no spots: state the run")
		}
	default:
		for i, id := range b.req.GetSpots() {
			at := slices.IndexFunc(deck.GetSpots(), func(s *bowrollv1.Spot) bool { return s.GetId() == id })
			if at < 0 {
				var known []string
				for _, s := range deck.GetSpots() {
					known = append(known, s.GetId())
				}
				b.unknown("spots["+strconv.Itoa(i)+"]", id, known, "a spot of "+deck.GetName())
				continue
			}
			b.spots = append(b.spots, deck.GetSpots()[at])
		}
	}
}

// units finds the booster type.
func (b *tableBuilder) units() {
	boosters := b.req.GetBoosters()
	switch {
	case boosters == nil:
	case boosters.GetBoosterType() != "":
		t, ok := b.resolver.catalog.BoosterType(boosters.GetBoosterType())
		if !ok {
			b.unknown("boosters.booster_type", boosters.GetBoosterType(), b.resolver.catalog.BoosterTypeNames(), "see the catalog")
			return
		}
		b.booster = t
		boosters.Type, boosters.BoosterType = t, ""
	default:
		for _, v := range catalog.CheckBoosterType(boosters.GetType()) {
			b.faults.list = append(b.faults.list, under("boosters.type", v))
		}
		b.booster = boosters.GetType()
	}
}

// airs works out the air at every temperature.
func (b *tableBuilder) airs() {
	a := b.req.GetAir()
	if len(b.req.GetTemperaturesC()) == 0 {
		b.req.TemperaturesC = []float64{a.GetTemperatureC()}
	}
	for i, temperature := range b.req.GetTemperaturesC() {
		day, err := air.At(air.Conditions{
			PressurePa: a.PressurePa, PressureAltitudeM: a.PressureAltitudeM, ElevationM: a.ElevationM, QNHPa: a.QnhPa,
			TemperatureC: &temperature, RelativeHumidity: a.RelativeHumidity,
		})
		if err != nil {
			for _, v := range refusal.FromModel("air", err) {
				if v.GetField() == "air.temperature_c" {
					v.Field = "temperatures_c[" + strconv.Itoa(i) + "]"
				}
				b.faults.list = appendNew(b.faults.list, []*bowrollv1.Violation{v})
			}
			continue
		}
		b.days = append(b.days, day)
	}
}

// evenMasses is how many masses a load has where it states none.
const evenMasses = 5

// loads fills in aircraft types, flaps, masses and counts.
func (b *tableBuilder) loads() {
	if len(b.req.GetLoads()) == 0 {
		for _, t := range b.resolver.catalog.AircraftTypes() {
			b.req.Loads = append(b.req.Loads, &bowrollv1.WindTableLoad{AircraftType: t.GetName()})
		}
	}
	for i, load := range b.req.GetLoads() {
		b.load("loads["+strconv.Itoa(i)+"]", load)
	}
}

func (b *tableBuilder) load(path string, load *bowrollv1.WindTableLoad) {
	if load.GetAircraftType() != "" {
		t, ok := b.resolver.catalog.AircraftType(load.GetAircraftType())
		if !ok {
			b.unknown(path+".aircraft_type", load.GetAircraftType(), b.resolver.catalog.AircraftTypeNames(), "see the catalog")
			return
		}
		load.Aircraft, load.AircraftType = t, ""
	} else {
		faulty := catalog.CheckAircraftType(load.GetAircraft())
		for _, v := range faulty {
			b.faults.list = append(b.faults.list, under(path+".aircraft", v))
		}
		if len(faulty) > 0 {
			return
		}
	}
	t := load.GetAircraft()
	var flaps []string
	for _, f := range t.GetFlaps() {
		flaps = append(flaps, f.GetId())
	}
	for i, flap := range load.GetFlaps() {
		if !slices.Contains(flaps, flap) {
			b.unknown(path+".flaps["+strconv.Itoa(i)+"]", flap, flaps, "a flap setting of the aircraft type")
		}
	}
	if len(load.GetFlaps()) == 0 {
		load.Flaps = flaps
	}
	if len(load.GetGrossMassesKg()) == 0 {
		low, high := t.GetLeastMassKg(), t.GetGreatestMassKg()
		if t.LeastMassKg == nil || t.GreatestMassKg == nil || low >= high {
			b.fault(path+".gross_masses_kg", "", "required", "given", "the type states no range of masses: list them")
			return
		}
		for i := range evenMasses {
			load.GrossMassesKg = append(load.GrossMassesKg, math.Round(low+float64((high-low)*float64(i)/(evenMasses-1))))
		}
	}
	if len(load.GetUnitCounts()) == 0 {
		load.UnitCounts = []int32{0}
		if b.booster != nil {
			for _, l := range t.GetLoadings() {
				load.UnitCounts = append(load.UnitCounts, l.GetUnitCount())
			}
			slices.Sort(load.UnitCounts)
			load.UnitCounts = slices.Compact(load.UnitCounts)
		}
	}
	for i, n := range load.GetUnitCounts() {
		if n > 0 && b.booster == nil && b.req.GetBoosters() == nil {
			b.fault(path+".unit_counts["+strconv.Itoa(i)+"]", strconv.Itoa(int(n)), "goes-with", "0, or with boosters given", "say which boosters")
		}
	}
}

// count is how many cells the table has.
func (b *tableBuilder) count() int {
	cells := 0
	for _, load := range b.req.GetLoads() {
		fits := 0
		for _, n := range load.GetUnitCounts() {
			if n == 0 {
				fits++
			} else {
				fits += len(b.req.GetBoosters().GetGrainTemperaturesC())
			}
		}
		cells += fits * len(load.GetFlaps()) * len(b.spots) * len(b.days) * len(load.GetGrossMassesKg())
	}
	return cells
}

// columns adds the columns of a load.
func (b *tableBuilder) columns(ctx context.Context, t *table, load *bowrollv1.WindTableLoad) error {
	for _, flap := range load.GetFlaps() {
		for _, spot := range b.spots {
			for _, n := range load.GetUnitCounts() {
				grains := []float64{0}
				if n > 0 {
					grains = b.req.GetBoosters().GetGrainTemperaturesC()
				}
				for _, grain := range grains {
					c, err := b.column(ctx, load, flap, spot, n, grain)
					if err != nil {
						return err
					}
					t.columns = append(t.columns, c)
				}
			}
		}
	}
	return nil
}

// column resolves a load at one spot with one fit as a take-off is.
func (b *tableBuilder) column(ctx context.Context, load *bowrollv1.WindTableLoad, flap string, spot *bowrollv1.Spot, n int32, grain float64) (*tableColumn, error) {
	kind := load.GetAircraft()
	row := &bowrollv1.WindTableRow{
		AircraftType: nameOf(kind.GetName(), kind.GetDisplayName()), Flap: flap, Spot: spot.GetId(), AvailableM: spot.GetAvailableM(), UnitCount: n,
	}
	c := &tableColumn{row: row, airs: b.days, masses: load.GetGrossMassesKg()}
	mass := kind.GetLeastMassKg()
	if mass == 0 {
		mass = c.masses[0]
	}
	asked := &bowrollv1.TakeoffCase{
		Aircraft: kind, Flap: flap, GrossMassKg: &mass, Air: b.req.GetAir(),
		Deck: b.req.GetDeck(), Spot: spot.GetId(), AvailableM: spot.AvailableM, Policy: b.req.GetPolicy(),
	}
	if n > 0 {
		row.BoosterType, row.GrainTemperatureC = nameOf(b.booster.GetName(), b.booster.GetDisplayName()), &grain
		firing := b.req.GetFiring()
		if firing == nil {
			firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST}
		}
		asked.Boosters = &bowrollv1.Boosters{Count: &n, Type: b.booster, GrainTemperatureC: &grain, Firing: firing}
	}
	res, found, err := b.resolver.windLoad(ctx, "", asked, b.req.GetFiringPlan())
	if err != nil {
		return nil, err
	}
	for _, v := range found {
		if reason := whyNot(v); reason != "" {
			c.reason = reason
			continue
		}
		v = proto.CloneOf(v)
		v.Field = strings.TrimPrefix(v.GetField(), ".")
		if rest, ok := strings.CutPrefix(v.GetField(), "boosters.firing"); ok {
			v.Field = "firing" + rest
		}
		b.faults.list = appendNew(b.faults.list, []*bowrollv1.Violation{v})
	}
	if res == nil {
		if c.reason == "" {
			c.reason = "Not computed."
		}
		return c, nil
	}
	c.load = res
	row.CrosswindLimitMps, row.TailwindLimitMps, row.WindCeilingMps = res.res.Limits.CrosswindMPS, res.res.Limits.TailwindMPS, res.res.Limits.CeilingMPS
	return c, nil
}

// whyNot turns what a single take-off would be refused for into the reason of a
// cell: what depends on where in the table it is.
func whyNot(v *bowrollv1.Violation) string {
	switch v.GetRule() {
	case "span":
		return "Not computed: " + v.GetHint() + "."
	case "loading":
		return "Not computed: " + v.GetValue() + " units is no loading of this type; " + v.GetAllowed() + "."
	case "firing-limits":
		return "Not computed: a unit at " + v.GetValue() + " degC is outside " + v.GetAllowed() + "."
	}
	return ""
}

// nameOf is what a type is called in a table.
func nameOf(name, display string) string {
	if name != "" {
		return name
	}
	return display
}
