package rpc

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// foundBox is the box that a plan found for a launch: the one that holds with all
// its sides at their worst at once. Answers of plans kept before there was one
// have limits found each by itself.
func foundBox(launch *bowrollv1.PlannedLaunch) *bowrollv1.CardBox {
	if found := launch.GetTakeoff().GetBox(); found != nil {
		box := &bowrollv1.CardBox{}
		copySides(box, found)
		return box
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
	given.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		wanted, least := value.Float(), strings.HasPrefix(string(field.Name()), "least_")
		if limit := box.ProtoReflect().Get(field).Float(); box.ProtoReflect().Has(field) && (least && wanted < limit || !least && wanted > limit) {
			word := "at most"
			if least {
				word = "at least"
			}
			faults = append(faults, &bowrollv1.Violation{
				Field: "box." + string(field.Name()), Value: fmt.Sprint(wanted), Rule: "narrower", Allowed: fmt.Sprintf("%s %g", word, limit),
				Hint: "the plan found this side: plan anew for a wider box",
			})
			return true
		}
		box.ProtoReflect().Set(field, value)
		return true
	})
	slices.SortFunc(faults, func(a, b *bowrollv1.Violation) int { return strings.Compare(a.GetField(), b.GetField()) })
	return box, faults
}

// copySides copies the sides that both boxes have: the contract names them alike.
func copySides(to, from proto.Message) {
	sides := to.ProtoReflect().Descriptor().Fields()
	from.ProtoReflect().Range(func(field protoreflect.FieldDescriptor, value protoreflect.Value) bool {
		if side := sides.ByName(field.Name()); side != nil && side.Kind() == field.Kind() {
			to.ProtoReflect().Set(side, value)
		}
		return true
	})
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
	var plan store.Plan
	err = p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		if plan, err = reader.Plan(ctx, id); err != nil {
			return err
		}
		answer, err := answerOf(plan)
		launch = launchOf(answer, r.GetSortie())
		return err
	})
	if err != nil {
		return nil, err
	}
	// The answer of a plan never changes, so that reading it first is safe.
	box, faults := narrowed(foundBox(launch), r.GetBox())
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	outdated, err := p.outdated(ctx, plan, launch)
	if err != nil {
		return nil, refused(err)
	}
	return p.change(ctx, site, "IssueCard", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		if outdated != nil { // the same request sent again never comes here
			return store.Plan{}, outdated
		}
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
			if err != nil {
				return err
			}
			answer, err = p.recheck(plan, r)
			return err
		})
		return answer, err
	}
	return keep(ctx, &p.keeper, site, "RecheckPlan", r, false, &bowrollv1.RecheckPlanResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.RecheckPlanResponse, error) {
		plan, err := book.Plan(ctx, id)
		if err != nil {
			return nil, err
		}
		answer, err := p.recheck(plan, r)
		if err != nil {
			return nil, err
		}
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
func (p *Plans) recheck(plan store.Plan, r *bowrollv1.RecheckPlanRequest) (*bowrollv1.RecheckPlanResponse, error) {
	answer := &bowrollv1.RecheckPlanResponse{Provenance: provenance(p.snapshot, r)}
	now := p.now()
	asked, all := map[string]bool{}, false
	for _, in := range r.GetInputs() {
		asked[in.GetSortie()] = true
		all = all || in.GetSortie() == ""
	}
	var out []string
	for _, s := range plan.Sorties {
		if s.State != store.SortieCard && s.State != store.SortieVoid || s.Card == 0 {
			continue
		}
		out = append(out, s.ID)
		if !all && !asked[s.ID] {
			continue
		}
		check := &bowrollv1.CardCheck{Sortie: s.ID, CardRevision: int32(s.Card), Sides: cardSides(s, inputsOf(r, s.ID), now)}
		check.Sides = append(check.Sides, waiverSides(&plan, &s, now)...)
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
	var faults []*bowrollv1.Violation
	for i, in := range r.GetInputs() {
		if in.GetSortie() != "" && !slices.Contains(out, in.GetSortie()) {
			faults = append(faults, &bowrollv1.Violation{
				Field: fmt.Sprintf("inputs[%d].sortie", i), Value: strconv.Quote(in.GetSortie()), Rule: "known", Allowed: oneOf(out), Hint: "a sortie whose card is out",
			})
		}
	}
	return answer, refusal.Invalid(faults)
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

// cardSides holds inputs against the box of a card, by the one comparison that
// answers are held by too.
func cardSides(s store.Sortie, inputs *bowrollv1.LiveInputs, now time.Time) []*bowrollv1.BoxSide {
	card := boxOf(s)
	if card == nil {
		return []*bowrollv1.BoxSide{{Quantity: "box", Text: "The box of the card cannot be read."}}
	}
	box, live := &bowrollv1.ValidityBox{UntilTime: stamp(s.CardUntil)}, &bowrollv1.LiveConditions{
		HeadwindMps: inputs.HeadwindMps, CrosswindMps: inputs.CrosswindMps, GrossMassKg: inputs.GrossMassKg,
		TemperatureC: inputs.TemperatureC, SpotOffsetM: inputs.SpotOffsetM, Time: stamp(now),
	}
	if inputs.GrainTemperatureC != nil {
		live.GrainTemperatureC = []float64{inputs.GetGrainTemperatureC()}
	}
	copySides(box, card)
	items, _ := checkBox(box, live)
	sides := make([]*bowrollv1.BoxSide, len(items))
	for i, item := range items {
		sides[i] = boxSide(item)
	}
	return sides
}

// boxSide is an item of a box as a card shows it: with the limit that is crossed,
// or is nearer.
func boxSide(item *bowrollv1.ValidityItem) *bowrollv1.BoxSide {
	side := &bowrollv1.BoxSide{
		Quantity: item.GetQuantity(), Value: item.Value, Holds: item.GetHolds(), Text: item.GetText(),
		Least: item.Least, Greatest: item.Greatest, Limit: item.Greatest,
	}
	if side.Quantity == "time" {
		side.Quantity = "until_time"
	}
	if item.Least != nil && (item.Greatest == nil || item.Value != nil && *item.Value-*item.Least < *item.Greatest-*item.Value) {
		side.Limit = item.Least
	}
	if !side.Holds && side.Value != nil && side.Limit != nil {
		side.Shortfall = proto.Float64(math.Abs(*side.Value - *side.Limit))
	}
	return side
}
