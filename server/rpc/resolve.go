package rpc

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// resolver turns cases into what the model computes with.
type resolver struct {
	validator protovalidate.Validator
	catalog   *library
	sampler   *sampler
}

func newResolver(validator protovalidate.Validator, snapshot *catalog.Snapshot, workers int) resolver {
	return resolver{validator: validator, catalog: newLibrary(snapshot), sampler: newSampler(max(1, workers))}
}

// resolved is a case with every name replaced by what it stands for.
type resolved struct {
	// Case is the request as resolved: the digest is taken over it.
	Case      *bowrollv1.TakeoffCase
	Setting   takeoff.Setting
	Firing    takeoff.Firing
	Best      bool  // the nominal best firing is to be searched for
	Planned   bool  // the firing is to be planned on the policy's percentile
	Lots      []int // lot of each unit from 0; nil where all are of one
	Policy    *bowrollv1.Policy
	Wind      *bowrollv1.WindUsed
	Limits    windLimits
	Available float64
	ScreenM   float64
	EdgeM     *float64 // height of the deck edge above the water
	HasBrakes bool
	Moving    *moving  // the wind as vectors; nil where only components were given
	TrackDeg  *float64 // heading of the launch axis, degrees true, where known
	Duds      int
	// The greatest tailwind and wind over deck of any state of the wind, for the
	// limits; a wind over deck of 0 was not worked out.
	TailwindMPS, GreatestWindMPS float64

	memory *caseMemory
}

// windLimits are the limits of deck and type together; nil where neither states
// one.
type windLimits struct {
	CrosswindMPS, TailwindMPS, CeilingMPS *float64
}

// faults collects violations under a path.
type faults struct {
	prefix string
	list   []*bowrollv1.Violation
}

func (f *faults) add(field, value, rule, allowed, hint string) {
	f.list = append(f.list, &bowrollv1.Violation{
		Field: f.prefix + "." + field, Value: value, Rule: rule, Allowed: allowed, Hint: hint,
	})
}

// unknown says that a name is none of those known.
func (f *faults) unknown(field, name string, known []string, where string) {
	f.list = append(f.list, unknown(f.prefix+"."+field, name, known, where))
}

// has tells whether a field or a part of it is faulty already.
func (f *faults) has(field string) bool {
	path := f.prefix + "." + field
	return slices.ContainsFunc(f.list, func(v *bowrollv1.Violation) bool {
		return v.GetField() == path || strings.HasPrefix(v.GetField(), path+".")
	})
}

// resolve turns a case into model input. The faults are complete: where the
// contract's rules already refuse a field, what depends on it is not judged. An
// error is a fault of the service, not of the case.
func (r resolver) resolve(prefix string, c *bowrollv1.TakeoffCase) (*resolved, []*bowrollv1.Violation, error) {
	out := &resolved{memory: new(caseMemory)}
	found, err := r.resolveInto(out, prefix, c)
	if err != nil || len(found) > 0 {
		return nil, found, err
	}
	return out, nil, nil
}

// resolveInto is resolve into the memory of out.
func (r resolver) resolveInto(out *resolved, prefix string, c *bowrollv1.TakeoffCase) ([]*bowrollv1.Violation, error) {
	if c == nil {
		return []*bowrollv1.Violation{{Field: prefix, Rule: "required", Allowed: "given"}}, nil
	}
	found, err := refusal.Check(r.validator, prefix, c)
	if err != nil {
		return nil, fmt.Errorf("checking %s: %w", prefix, err)
	}
	f := &faults{prefix: prefix, list: found}
	*out = resolved{memory: out.memory, Case: out.memory.shallowCase(c)}

	r.resolveAircraft(out, f)
	deck := r.resolveDeck(out, f)
	r.resolveBoosters(out, f)
	f.doubtAir(out.Case.GetAir())
	site, _ := r.catalog.Site(siteName(c.GetDeck()))
	f.doubtRun(c.AvailableM, deck)
	f.doubtWind(out.Case, deck, site)
	if !f.has("air") {
		r.resolveAir(out, f)
	}
	if len(f.list) > 0 {
		return f.list, nil
	}
	out.Policy = r.catalog.policy(c.GetPolicy(), deck)
	out.Case.Policy = out.Policy
	r.resolveFiring(out)
	r.resolveWind(out, deck, site, f)
	out.TrackDeg = track(out.Case, deck, site)
	return f.list, nil
}

// resolveAircraft fills in the type and the flap, and holds the mass to the
// type's band.
func (r resolver) resolveAircraft(out *resolved, f *faults) {
	c := out.Case
	if c.GetAircraftType() != "" {
		t, ok := r.catalog.AircraftType(c.GetAircraftType())
		if !ok {
			f.unknown("aircraft_type", c.GetAircraftType(), r.catalog.AircraftTypeNames(), "see the catalog")
			return
		}
		c.Aircraft, c.AircraftType = t, ""
	} else if c.GetAircraft() != nil {
		for _, v := range catalog.CheckAircraftType(c.GetAircraft()) {
			f.list = append(f.list, under(f.prefix+".aircraft", v))
		}
	}
	if c.GetAircraft() == nil {
		return
	}
	f.doubtMass(c)
	if len(f.list) > 0 {
		return
	}
	t := r.catalog.aircraftModel(c.GetAircraft())
	out.Setting.Aircraft = t
	out.Setting.Flap = t.FlapIndex(c.GetFlap())
	if out.Setting.Flap < 0 {
		names := make([]string, len(t.Flaps))
		for i := range t.Flaps {
			names[i] = t.Flaps[i].Name
		}
		f.unknown("flap", c.GetFlap(), names, "a flap setting of the aircraft type")
	}
	out.Setting.GrossMassKG = c.GetGrossMassKg()
}

// resolveDeck fills in surface, run, screen and limits, and returns the deck
// named, if one was.
func (r resolver) resolveDeck(out *resolved, f *faults) *bowrollv1.Deck {
	c := out.Case
	var deck *bowrollv1.Deck
	if c.GetDeck() == "" {
		deck = new(bowrollv1.Deck)
		if c.GetSpot() != "" {
			f.add("spot", strconv.Quote(c.GetSpot()), "goes-with", "", "a spot goes with a deck named from the catalog")
		}
	} else {
		d, ok := r.catalog.Deck(c.GetDeck())
		if !ok {
			f.unknown("deck", c.GetDeck(), r.catalog.DeckNames(), "see the catalog")
			return new(bowrollv1.Deck)
		}
		deck = d
		c.Surface = d.GetSurface()
		if c.ScreenM == nil {
			c.ScreenM = d.ScreenM
		}
		if c.EdgeHeightM == nil {
			c.EdgeHeightM = d.EdgeHeightM
		}
		if c.GetSpot() != "" {
			resolveSpot(c, d, f)
		}
	}
	surface := c.GetSurface()
	out.Setting.Surface = takeoff.Surface{
		RollingFriction: surface.GetRollingFriction() * correction(c.GetAircraft()).RollingFriction,
		BrakingFriction: surface.GetBrakingFriction(),
		BrakesUnknown:   surface == nil || surface.BrakingFriction == nil,
		Upslope:         surface.GetUpslope(),
	}
	out.HasBrakes = surface != nil && surface.BrakingFriction != nil
	if c.AvailableM == nil && c.GetSpot() == "" && !f.has("available_m") {
		f.add("available_m", "", "required", "given, or a deck and a spot on it named", "")
	}
	out.Available = c.GetAvailableM()
	out.ScreenM = c.GetScreenM()
	out.EdgeM = c.EdgeHeightM
	out.Limits = windLimits{
		CrosswindMPS: deck.CrosswindLimitMps, TailwindMPS: deck.TailwindLimitMps, CeilingMPS: deck.WindCeilingMps,
	}
	if t := c.GetAircraft(); t != nil { // nil where its name is not known
		out.Limits.CrosswindMPS = lesser(deck.CrosswindLimitMps, t.CrosswindLimitMps)
		out.Limits.TailwindMPS = lesser(deck.TailwindLimitMps, t.TailwindLimitMps)
	}
	return deck
}

func resolveSpot(c *bowrollv1.TakeoffCase, d *bowrollv1.Deck, f *faults) {
	i := slices.IndexFunc(d.GetSpots(), func(s *bowrollv1.Spot) bool { return s.GetId() == c.GetSpot() })
	if i < 0 {
		names := make([]string, len(d.GetSpots()))
		for j, s := range d.GetSpots() {
			names[j] = s.GetId()
		}
		f.unknown("spot", c.GetSpot(), names, "a spot of "+d.GetName())
		return
	}
	spot := d.GetSpots()[i]
	if c.AvailableM == nil {
		c.AvailableM = spot.AvailableM
	}
	if span := c.GetAircraft().GetSpanM(); spot.WidestSpanM != nil && span > spot.GetWidestSpanM() {
		f.add("spot", strconv.Quote(c.GetSpot()), "span", "a spot for a span of "+number(span)+" m",
			"the widest span that fits it is "+number(spot.GetWidestSpanM())+" m")
	}
}

// resolveBoosters fills in the units, each at a station where the type has them.
func (r resolver) resolveBoosters(out *resolved, f *faults) {
	if out.Case.GetBoosters() == nil {
		return
	}
	b := out.memory.shallowBoosters(out.Case.GetBoosters())
	out.Case.Boosters = b
	if b.GetBoosterType() != "" {
		t, ok := r.catalog.BoosterType(b.GetBoosterType())
		if !ok {
			f.unknown("boosters.booster_type", b.GetBoosterType(), r.catalog.BoosterTypeNames(), "see the catalog")
			return
		}
		b.Type, b.BoosterType = t, ""
	} else if b.GetType() != nil {
		for _, v := range catalog.CheckBoosterType(b.GetType()) {
			f.list = append(f.list, under(f.prefix+".boosters.type", v))
		}
	}
	if b.GetDuds() > b.GetCount() {
		f.add("boosters.duds", strconv.Itoa(int(b.GetDuds())), "range", "0 to count ("+strconv.Itoa(int(b.GetCount()))+")", "")
	}
	checkFiring(b.GetFiring(), f)
	if b.GetType() == nil {
		return
	}
	// A temperature that no unit has is judged all the same: it was sent.
	f.doubtGrain("boosters.grain_temperature_c", b.GrainTemperatureC, b.GetType())
	for i, u := range b.GetUnitTemperatures() {
		f.doubtGrain("boosters.unit_temperatures["+strconv.Itoa(i)+"].grain_temperature_c", u.GrainTemperatureC, b.GetType())
	}
	if out.Setting.Aircraft == nil || len(f.list) > 0 {
		return
	}
	out.Duds = int(b.GetDuds())
	stations := stationsFor(out.memory.stations[:0], out, int(b.GetCount()), f)
	out.memory.stations = stations
	out.Setting.Units = fitUnits(out.memory.units[:0], r.catalog.boosterModel(b.GetType()), stations, b.GetGrainTemperatureC())
	out.memory.units = out.Setting.Units
	for i, u := range b.GetUnitTemperatures() {
		at := stationAt(stations, u.GetStation())
		if at < 0 {
			f.add("boosters.unit_temperatures["+strconv.Itoa(i)+"].station", strconv.Quote(u.GetStation()), "known", "a station that carries a unit", "")
			continue
		}
		out.Setting.Units[at].GrainTemperatureC = u.GetGrainTemperatureC()
	}
	for i, u := range b.GetUnitLots() {
		at := stationAt(stations, u.GetStation())
		if at < 0 {
			f.add("boosters.unit_lots["+strconv.Itoa(i)+"].station", strconv.Quote(u.GetStation()), "known",
				"a station that carries a unit", "")
			continue
		}
		if u.ThrustRatio != nil {
			out.Setting.Units[at].ThrustDeviation = u.GetThrustRatio() - 1
		}
		if u.BurnTimeRatio != nil {
			out.Setting.Units[at].RateDeviation = 1/u.GetBurnTimeRatio() - 1
		}
	}
	for i := range out.Setting.Units {
		out.Setting.Units[i].Dud = i >= len(out.Setting.Units)-out.Duds
	}
}

// stationAt finds the unit that hangs from a station, or -1.
func stationAt(stations []aircraft.Station, id string) int {
	return slices.IndexFunc(stations, func(s aircraft.Station) bool { return s.ID == id && id != "" })
}

// stationsFor appends the stations of the loading with this count. A type without
// stations carries its units without any: no yaw can be worked out then.
func stationsFor(stations []aircraft.Station, out *resolved, count int, f *faults) []aircraft.Station {
	p := out.Case.GetAircraft()
	if len(p.GetStations()) == 0 {
		return append(stations, make([]aircraft.Station, count)...)
	}
	var counts []string
	for _, l := range p.GetLoadings() {
		if int(l.GetUnitCount()) != count {
			counts = append(counts, strconv.Itoa(int(l.GetUnitCount())))
			continue
		}
		for _, id := range l.GetStations() {
			if i := out.Setting.Aircraft.StationIndex(id); i >= 0 {
				stations = append(stations, out.Setting.Aircraft.Stations[i])
			}
		}
		return stations
	}
	f.add("boosters.count", strconv.Itoa(count), "loading", oneOf(counts), "a loading of the aircraft type")
	return stations
}

// fitUnits appends one unit for each station, hung from it.
func fitUnits(units []booster.Unit, t *booster.Type, stations []aircraft.Station, grainC float64) []booster.Unit {
	for _, s := range stations {
		units = append(units, booster.Unit{
			Type: t, GrainTemperatureC: grainC,
			LateralM: s.LateralM, LongitudinalM: s.LongitudinalM, Line: s.Line,
		})
	}
	return units
}

func (r resolver) resolveAir(out *resolved, f *faults) {
	a := out.Case.GetAir()
	state, err := air.At(air.Conditions{
		PressurePa: a.PressurePa, PressureAltitudeM: a.PressureAltitudeM,
		ElevationM: a.ElevationM, QNHPa: a.QnhPa,
		TemperatureC: a.TemperatureC, RelativeHumidity: a.RelativeHumidity,
	})
	f.list = append(f.list, refusal.FromModel(f.prefix+".air", err)...)
	out.Setting.Air = state
}

func (r resolver) resolveFiring(out *resolved) {
	firing := out.Case.GetBoosters().GetFiring()
	out.Firing.ReactionS = out.Policy.GetReleaseReactionS()
	if firing != nil && firing.ReactionS != nil {
		out.Firing.ReactionS = firing.GetReactionS()
	}
	switch firing.GetMode() {
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		out.Firing.Mode, out.Firing.DelayS = takeoff.Rolling, firing.GetDelayS()
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		out.Firing.Mode = takeoff.OnBrakes
	case bowrollv1.FiringMode_FIRING_MODE_BEST:
		out.Best = true
	case bowrollv1.FiringMode_FIRING_MODE_PLANNED:
		out.Planned = true
	}
}

// lesser is the smaller of two limits, either of which may be unstated.
func lesser(a, b *float64) *float64 {
	switch {
	case a == nil:
		return b
	case b == nil || *a <= *b:
		return a
	}
	return b
}

func under(prefix string, v *bowrollv1.Violation) *bowrollv1.Violation {
	v = proto.CloneOf(v)
	v.Field = prefix + "." + v.GetField()
	return v
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
