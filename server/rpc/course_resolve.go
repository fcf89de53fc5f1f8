package rpc

import (
	"context"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// courseBuilder resolves a request, collecting every fault.
type courseBuilder struct {
	w    *WindLimits
	req  *bowrollv1.WindLimitsFindCourseRequest
	out  *courseCase
	deck *bowrollv1.Deck // nil where the axis is given inline
	site *bowrollv1.Site
	list []*bowrollv1.Violation
}

func (b *courseBuilder) fault(field, value, rule, allowed, hint string) {
	b.list = append(b.list, &bowrollv1.Violation{Field: field, Value: value, Rule: rule, Allowed: allowed, Hint: hint})
}

// unknown says that a name is none of those known.
func (b *courseBuilder) unknown(field, name string, known []string, where string) {
	b.list = append(b.list, unknown(field, name, known, where))
}

// resolveCourse turns a request into the model's query. The error carries every
// fault.
func (w *WindLimits) resolveCourse(ctx context.Context, req *bowrollv1.WindLimitsFindCourseRequest) (*courseCase, error) {
	found, err := refusal.Check(w.resolver.validator, "", req)
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	b := &courseBuilder{w: w, req: req, out: new(courseCase)}
	b.place()
	b.motion()
	if err := refusal.Invalid(b.list); err != nil {
		return nil, err
	}
	b.wind()
	if err := refusal.Invalid(b.list); err != nil || b.out.reading.GetHold() > bowrollv1.WindHold_WIND_HOLD_NONE {
		return b.out, err
	}
	if req.GetCycle() != nil {
		err = b.cycle(ctx)
	} else {
		err = b.loads(ctx)
	}
	if err != nil {
		return nil, err
	}
	b.out.digested = append(b.out.digested, b.settings())
	return b.out, refusal.Invalid(b.list)
}

// settings is the request without its loads, with what it leaves open filled in,
// for the digest.
func (b *courseBuilder) settings() proto.Message {
	s := proto.CloneOf(b.req)
	s.Loads, s.Cycle, s.Policy = nil, nil, b.out.policy
	q := &b.out.query
	s.AxisOffsetDeg = &q.Ship.AxisOffsetDeg
	s.LeastSpeedMps, s.GreatestSpeedMps, s.SteerageSpeedMps = &q.Ship.LeastMPS, &q.Ship.GreatestMPS, &q.Ship.SteerageMPS
	s.TurnRateDegS, s.LaunchS = q.Ship.TurnRateDegPS, q.LaunchS
	return s
}

// place finds deck and site, and settles the policy.
func (b *courseBuilder) place() {
	name, field := b.req.GetDeck(), "deck"
	if b.req.GetCycle() != nil {
		name, field = b.req.GetCycle().GetDeck(), "cycle.deck"
	}
	if name != "" {
		deck, ok := b.w.resolver.catalog.Deck(name)
		if !ok {
			b.unknown(field, name, b.w.resolver.catalog.DeckNames(), "see the catalog")
			return
		}
		b.deck = deck
		b.site, _ = b.w.resolver.catalog.Site(siteName(name))
		if b.site.GreatestSpeedMps == nil {
			b.fault(field, strconv.Quote(name), "goes-with", "a deck of a ship", b.site.GetName()+" does not move: no course makes a wind there")
		}
	} else if len(b.req.GetReadings()) > 0 {
		b.fault("readings", "", "goes-with", "with deck named", "readings are corrected by what the catalog knows of the site's anemometers")
	}
	b.out.policy = policyUsed(b.req.GetPolicy(), b.req.GetCycle().GetPolicy(), b.deck.GetPolicy())
	b.out.query.Credit = credit(b.out.policy)
}

// firstGiven is the first of several values that is given.
func firstGiven(values ...*float64) *float64 {
	i := slices.IndexFunc(values, func(v *float64) bool { return v != nil })
	if i < 0 {
		return nil
	}
	return values[i]
}

// orZero is a value, or 0 where there is none.
func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// motion settles what the ship can do and where she may go.
func (b *courseBuilder) motion() {
	req, cycle := b.req, b.req.GetCycle()
	site, deck := b.site, b.deck
	if site == nil {
		site = new(bowrollv1.Site)
	}
	if deck == nil {
		deck = new(bowrollv1.Deck)
	}
	if cycle == nil {
		cycle = new(bowrollv1.Cycle)
	}
	q := &b.out.query
	q.Ship = wind.ShipRange{
		LeastMPS:      orZero(firstGiven(req.LeastSpeedMps, cycle.LeastSpeedMps, site.LeastSpeedMps)),
		GreatestMPS:   orZero(firstGiven(req.GreatestSpeedMps, cycle.GreatestSpeedMps, site.GreatestSpeedMps)),
		SteerageMPS:   orZero(firstGiven(req.SteerageSpeedMps, site.LeastSpeedMps)),
		AxisOffsetDeg: orZero(firstGiven(req.AxisOffsetDeg, deck.AxisOffsetDeg)),
		TurnRateDegPS: firstGiven(req.TurnRateDegS, site.TurnRateDegS),
	}
	if site.GreatestSpeedMps != nil && q.Ship.GreatestMPS > site.GetGreatestSpeedMps() {
		b.fault("greatest_speed_mps", number(q.Ship.GreatestMPS), "range",
			"at most "+number(site.GetGreatestSpeedMps())+" m/s, the greatest speed of "+site.GetName(), "")
	}
	q.PresentCourseDeg = req.GetPresentCourseDeg()
	q.LaunchS = req.LaunchS
	q.StepDeg = req.GetCourseStepDeg()
	for _, s := range req.GetSeaRoom() {
		q.Closed = append(q.Closed, wind.Sector{FromDeg: s.GetFromDeg(), ToDeg: s.GetToDeg(), RoomM: s.RoomM})
	}
}

// wind settles the natural wind.
func (b *courseBuilder) wind() {
	natural := b.req.GetNaturalWind()
	if len(b.req.GetReadings()) > 0 {
		read, found := readWind(b.site, b.req.GetShip(), b.req.GetReadings())
		if len(found) > 0 {
			b.list = append(b.list, found...)
			return
		}
		b.out.reading, b.out.query.Wind = read.answer, read.natural
		b.out.digested = append(b.out.digested, b.site)
		return
	}
	if natural == nil {
		natural = b.req.GetCycle().GetNaturalWind()
	}
	b.out.query.Wind = naturalWind(natural)
}
