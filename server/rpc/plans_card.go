package rpc

import (
	"context"
	"fmt"
	"math"
	"sort"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// side is one side of a box and the input that it watches.
type side struct {
	quantity string
	box      func(*bowrollv1.CardBox) **float64
	input    func(*bowrollv1.LiveInputs) *float64
	// least says that the side bounds from below.
	least bool
}

// boxSides are the sides of a box, in the order in which they are shown.
var boxSides = []side{
	{"headwind_mps", func(b *bowrollv1.CardBox) **float64 { return &b.LeastHeadwindMps }, func(l *bowrollv1.LiveInputs) *float64 { return l.HeadwindMps }, true},
	{"crosswind_mps", func(b *bowrollv1.CardBox) **float64 { return &b.GreatestCrosswindMps }, func(l *bowrollv1.LiveInputs) *float64 { return magnitude(l.CrosswindMps) }, false},
	{"gross_mass_kg", func(b *bowrollv1.CardBox) **float64 { return &b.GreatestMassKg }, func(l *bowrollv1.LiveInputs) *float64 { return l.GrossMassKg }, false},
	{"temperature_c", func(b *bowrollv1.CardBox) **float64 { return &b.LeastTemperatureC }, func(l *bowrollv1.LiveInputs) *float64 { return l.TemperatureC }, true},
	{"temperature_c", func(b *bowrollv1.CardBox) **float64 { return &b.GreatestTemperatureC }, func(l *bowrollv1.LiveInputs) *float64 { return l.TemperatureC }, false},
	{"grain_temperature_c", func(b *bowrollv1.CardBox) **float64 { return &b.LeastGrainTemperatureC }, func(l *bowrollv1.LiveInputs) *float64 { return l.GrainTemperatureC }, true},
	{"grain_temperature_c", func(b *bowrollv1.CardBox) **float64 { return &b.GreatestGrainTemperatureC }, func(l *bowrollv1.LiveInputs) *float64 { return l.GrainTemperatureC }, false},
}

func magnitude(v *float64) *float64 {
	if v == nil {
		return nil
	}
	a := math.Abs(*v)
	return &a
}

// foundBox is the box that a plan found for a launch: the one that holds with all
// its sides at their worst at once. Answers of plans kept before there was one
// have limits found each by itself.
func foundBox(launch *bowrollv1.PlannedLaunch) *bowrollv1.CardBox {
	if found := launch.GetTakeoff().GetBox(); found != nil {
		return &bowrollv1.CardBox{
			LeastHeadwindMps: found.LeastHeadwindMps, GreatestCrosswindMps: found.GreatestCrosswindMps, GreatestMassKg: found.GreatestMassKg,
			LeastTemperatureC: found.LeastTemperatureC, GreatestTemperatureC: found.GreatestTemperatureC,
			LeastGrainTemperatureC: found.LeastGrainTemperatureC, GreatestGrainTemperatureC: found.GreatestGrainTemperatureC,
		}
	}
	box := &bowrollv1.CardBox{}
	if l := launch.GetLeastHeadwindMps(); l.GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		box.LeastHeadwindMps = l.Value
	}
	limits := launch.GetTakeoff().GetLimits()
	if l := limits.GetGreatestMassKg(); l.GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		box.GreatestMassKg = l.Value
	}
	if l := limits.GetHottestAirC(); l.GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		box.GreatestTemperatureC = l.Value
	}
	return box
}

// narrowed is the box that a plan found with the sides that a caller gave, each
// of which may only be narrower.
func narrowed(found, given *bowrollv1.CardBox) (*bowrollv1.CardBox, []*bowrollv1.Violation) {
	box := proto.CloneOf(found)
	if given == nil {
		return box, nil
	}
	var faults []*bowrollv1.Violation
	for _, s := range boxSides {
		limit, wanted := s.box(box), *s.box(given)
		if wanted == nil {
			continue
		}
		if *limit != nil && (s.least && *wanted < **limit || !s.least && *wanted > **limit) {
			word := "at most"
			if s.least {
				word = "at least"
			}
			faults = append(faults, &bowrollv1.Violation{
				Field: "box." + sideField(s), Value: fmt.Sprint(*wanted), Rule: "narrower", Allowed: fmt.Sprintf("%s %g", word, **limit),
				Hint: "the plan found this side: plan anew for a wider box",
			})
			continue
		}
		copied := *wanted
		*limit = &copied
	}
	return box, faults
}

// sideField is the name of a side's field in the contract.
func sideField(s side) string {
	if s.quantity == "gross_mass_kg" {
		return "greatest_mass_kg"
	}
	if s.least {
		return "least_" + s.quantity
	}
	return "greatest_" + s.quantity
}

// boxOf reads the box of a sortie's card. One that cannot be read has no sides,
// and its card does not hold.
func boxOf(s store.Sortie) *bowrollv1.CardBox {
	box := &bowrollv1.CardBox{}
	if proto.Unmarshal(s.Box, box) != nil {
		return nil
	}
	return box
}

// IssueCard issues a launch card.
func (p *Plans) IssueCard(ctx context.Context, r *bowrollv1.IssueCardRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	var launch *bowrollv1.PlannedLaunch
	err = p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		plan, err := reader.Plan(ctx, id)
		if err != nil {
			return err
		}
		answer := &bowrollv1.CyclePlan{}
		if err := proto.Unmarshal(plan.Answer, answer); err != nil {
			return fmt.Errorf("the answer of plan %s cannot be read: %w", id, err)
		}
		for _, one := range answer.GetLaunches() {
			if one.GetSortie() == r.GetSortie() {
				launch = one
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	// The answer of a plan never changes, so that reading it first is safe.
	box, faults := narrowed(foundBox(launch), r.GetBox())
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	return p.change(ctx, site, "IssueCard", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.IssueCard(ctx, id, r.GetSortie(), r.GetUntilTime().AsTime(), encoded(box))
	})
}

// RecheckPlan holds live inputs against the cards that are out.
func (p *Plans) RecheckPlan(ctx context.Context, r *bowrollv1.RecheckPlanRequest) (*bowrollv1.RecheckPlanResponse, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	if err := refusal.Invalid(recheckFaults(r)); err != nil {
		return nil, err
	}
	if !r.GetVoidCards() {
		var answer *bowrollv1.RecheckPlanResponse
		err := p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
			plan, err := reader.Plan(ctx, id)
			answer = p.recheck(plan, r)
			return err
		})
		return answer, err
	}
	return keep(ctx, &p.keeper, site, "RecheckPlan", r, false, &bowrollv1.RecheckPlanResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.RecheckPlanResponse, error) {
		plan, err := book.Plan(ctx, id)
		if err != nil {
			return nil, err
		}
		answer := p.recheck(plan, r)
		for _, card := range answer.GetCards() {
			if card.GetHolds() {
				continue
			}
			var reasons []string
			for _, s := range card.GetSides() {
				if !s.GetHolds() {
					reasons = append(reasons, s.GetText())
				}
			}
			if _, err := book.VoidCard(ctx, id, card.GetSortie(), reasons); err != nil {
				return nil, err
			}
		}
		return answer, nil
	})
}

// recheckFaults are the faults that only several fields together have.
func recheckFaults(r *bowrollv1.RecheckPlanRequest) []*bowrollv1.Violation {
	var faults []*bowrollv1.Violation
	if r.GetVoidCards() && r.GetActor() == "" {
		faults = append(faults, &bowrollv1.Violation{Field: "actor", Rule: "required", Allowed: "given", Hint: "voiding a card names who does it"})
	}
	if r.GetVoidCards() && r.GetRequestId() == "" {
		faults = append(faults, &bowrollv1.Violation{Field: "request_id", Rule: "required", Allowed: "given", Hint: "voiding a card is a change"})
	}
	seen := map[string]bool{}
	for i, in := range r.GetInputs() {
		if seen[in.GetSortie()] {
			faults = append(faults, &bowrollv1.Violation{Field: fmt.Sprintf("inputs[%d].sortie", i), Value: in.GetSortie(), Rule: "unique", Allowed: "each sortie once"})
		}
		seen[in.GetSortie()] = true
	}
	return faults
}

// recheck holds inputs against the cards of a plan.
func (p *Plans) recheck(plan store.Plan, r *bowrollv1.RecheckPlanRequest) *bowrollv1.RecheckPlanResponse {
	answer := &bowrollv1.RecheckPlanResponse{Provenance: provenance(p.snapshot, r)}
	now := p.now()
	for _, s := range plan.Sorties {
		if s.State != store.SortieCard && s.State != store.SortieVoid || s.Card == 0 {
			continue
		}
		check := &bowrollv1.CardCheck{Sortie: s.ID, CardRevision: int32(s.Card), Sides: boxSidesOf(s, inputsOf(r, s.ID))}
		if now.After(s.CardUntil) {
			check.Sides = append(check.Sides, &bowrollv1.BoxSide{Quantity: "until_time", Text: "the card ran out " + s.CardUntil.Format("2006-01-02T15:04:05Z07:00")})
		}
		for _, why := range s.Void {
			check.Sides = append(check.Sides, &bowrollv1.BoxSide{Quantity: "void", Text: why})
		}
		sort.SliceStable(check.Sides, func(i, j int) bool { return !check.Sides[i].GetHolds() && check.Sides[j].GetHolds() })
		check.Holds = len(check.Sides) == 0 || check.Sides[0].GetHolds()
		if check.Holds {
			answer.HoldsCount++
		} else {
			answer.VoidCount++
		}
		answer.Cards = append(answer.Cards, check)
	}
	return answer
}

// inputsOf are the inputs for a sortie: its own, and those for all where it has
// none of its own.
func inputsOf(r *bowrollv1.RecheckPlanRequest, sortie string) *bowrollv1.LiveInputs {
	inputs := &bowrollv1.LiveInputs{}
	for _, id := range []string{"", sortie} {
		for _, in := range r.GetInputs() {
			if in.GetSortie() == id {
				proto.Merge(inputs, in)
			}
		}
	}
	return inputs
}

// boxSidesOf holds inputs against the box of a card.
func boxSidesOf(s store.Sortie, inputs *bowrollv1.LiveInputs) []*bowrollv1.BoxSide {
	box := boxOf(s)
	if box == nil {
		return []*bowrollv1.BoxSide{{Quantity: "box", Text: "the box of the card cannot be read"}}
	}
	var sides []*bowrollv1.BoxSide
	for _, one := range boxSides {
		limit := *one.box(box)
		if limit == nil {
			continue
		}
		out := &bowrollv1.BoxSide{Quantity: one.quantity, Limit: limit, Value: one.input(inputs)}
		word, beyond := "at most", 0.0
		if one.least {
			word = "at least"
		}
		switch {
		case out.Value == nil:
			out.Text = fmt.Sprintf("%s is not known and must be %s %g", one.quantity, word, *limit)
		default:
			if beyond = *out.Value - *limit; one.least {
				beyond = -beyond
			}
			if out.Holds = beyond <= 0; !out.Holds {
				out.Shortfall = &beyond
			}
			out.Text = fmt.Sprintf("%s is %g and must be %s %g", one.quantity, *out.Value, word, *limit)
		}
		sides = append(sides, out)
	}
	return sides
}
