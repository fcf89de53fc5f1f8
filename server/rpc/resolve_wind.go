package rpc

import (
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// resolveWind works out the wind along and across the launch axis by the one way
// in which the case gives it.
func (r resolver) resolveWind(out *resolved, deck *bowrollv1.Deck, site *bowrollv1.Site, f *faults) {
	c := out.Case
	if c.CrosswindMps != nil && c.HeadwindMps == nil {
		f.add("crosswind_mps", number(c.GetCrosswindMps()), "goes-with", "given with headwind_mps only", "")
	}
	if c.HeadwindMps != nil {
		out.Wind = &bowrollv1.WindUsed{
			HeadwindMps: c.GetHeadwindMps(), CreditedHeadwindMps: c.GetHeadwindMps(),
			CrosswindMps: c.GetCrosswindMps(), PlannedOn: "given",
		}
		out.TailwindMPS = max(0, -c.GetHeadwindMps())
		out.Setting.HeadwindMPS = c.GetHeadwindMps()
		return
	}
	ship := wind.Ship{
		CourseDeg: c.GetShip().GetCourseDeg(), SpeedMPS: c.GetShip().GetSpeedMps(),
		AxisOffsetDeg: deck.GetAxisOffsetDeg(),
	}
	switch {
	case c.GetDeck() == "" && c.AxisHeadingDeg != nil:
		ship.AxisOffsetDeg = c.GetAxisHeadingDeg() - ship.CourseDeg
	case c.GetDeck() == "" && c.GetShip() == nil:
		f.add("axis_heading_deg", "", "required", "given", "with a surface given inline and no ship, state where the axis points")
		return
	case c.AxisHeadingDeg != nil:
		f.add("axis_heading_deg", number(c.GetAxisHeadingDeg()), "goes-with", "given with surface, or with headwind_mps",
			"the deck named states where its axis points")
		return
	case c.GetNaturalWind() != nil && c.GetShip() == nil && site.GetGreatestSpeedMps() > 0:
		f.add("ship", "", "required", "given", "the deck is a ship's: a natural wind says nothing without her course and speed")
		return
	}
	natural := naturalWind(c.GetNaturalWind())
	if read := c.GetDeckWind(); read != nil {
		felt := wind.Vector{FromDeg: read.GetRelativeFromDeg(), SpeedMPS: read.GetSpeedMps()}
		natural = wind.Natural{Mean: ship.Natural(felt)}
	}
	out.Moving = &moving{natural: natural, ship: ship, steers: c.GetShip() != nil}
	used := natural.Use(ship, credit(out.Policy))
	out.setWind(used)
}

// setWind takes over a wind as worked out.
func (out *resolved) setWind(used wind.Used) {
	out.Wind = windAnswer(used)
	out.TailwindMPS = used.TailwindMPS
	out.GreatestWindMPS = used.GreatestSpeedMPS
	out.Setting.HeadwindMPS = used.CreditedHeadwindMPS
}

func windAnswer(used wind.Used) *bowrollv1.WindUsed {
	return &bowrollv1.WindUsed{
		HeadwindMps:         used.HeadwindMPS,
		CreditedHeadwindMps: used.CreditedHeadwindMPS,
		CrosswindMps:        used.CrosswindMPS,
		SpeedMps:            proto.Float64(used.SpeedMPS),
		RelativeFromDeg:     proto.Float64(math.Mod(used.RelativeFromDeg, 360)),
		PlannedOn:           used.PlannedOn,
	}
}

func naturalWind(w *bowrollv1.NaturalWind) wind.Natural {
	if w == nil {
		return wind.Natural{}
	}
	return wind.Gusting(w.GetFromDeg(), w.GetSpeedMps(), w.LullMps, w.GustMps, w.GetDirectionSpreadDeg())
}

func credit(p *bowrollv1.Policy) wind.Credit {
	return wind.Credit{HeadwindPart: p.GetHeadwindCredit(), TailwindFactor: p.GetTailwindFactor()}
}
