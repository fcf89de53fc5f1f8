package rpc

import (
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// caseMemory is what a resolved case is kept in, for the next one to use again.
type caseMemory struct {
	takeoff  bowrollv1.TakeoffCase
	boosters bowrollv1.Boosters
	units    []booster.Unit
	stations []aircraft.Station
}

// The copies here share what they hold with the original, so that single fields
// can be replaced without touching it. They are written out because a request's
// path leads through them; a test sees to it that no field is left behind.

func (m *caseMemory) shallowCase(c *bowrollv1.TakeoffCase) *bowrollv1.TakeoffCase {
	m.takeoff = bowrollv1.TakeoffCase{
		Id:             c.Id,
		AircraftType:   c.AircraftType,
		Aircraft:       c.Aircraft,
		Flap:           c.Flap,
		GrossMassKg:    c.GrossMassKg,
		Air:            c.Air,
		HeadwindMps:    c.HeadwindMps,
		CrosswindMps:   c.CrosswindMps,
		NaturalWind:    c.NaturalWind,
		DeckWind:       c.DeckWind,
		Ship:           c.Ship,
		Deck:           c.Deck,
		Spot:           c.Spot,
		Surface:        c.Surface,
		AxisHeadingDeg: c.AxisHeadingDeg,
		AvailableM:     c.AvailableM,
		ScreenM:        c.ScreenM,
		Boosters:       c.Boosters,
		Policy:         c.Policy,
		EdgeHeightM:    c.EdgeHeightM,
		Dispersions:    c.Dispersions,
		CheckMarkM:     c.CheckMarkM,
		StaticFriction: c.StaticFriction,
		UntilTime:      c.UntilTime,
	}
	return &m.takeoff
}

func (m *caseMemory) shallowBoosters(b *bowrollv1.Boosters) *bowrollv1.Boosters {
	m.boosters = bowrollv1.Boosters{
		Count:             b.Count,
		Duds:              b.Duds,
		BoosterType:       b.BoosterType,
		Type:              b.Type,
		GrainTemperatureC: b.GrainTemperatureC,
		Firing:            b.Firing,
		UnitTemperatures:  b.UnitTemperatures,
		UnitLots:          b.UnitLots,
		Release:           b.Release,
		FiringSupply:      b.FiringSupply,
	}
	return &m.boosters
}
