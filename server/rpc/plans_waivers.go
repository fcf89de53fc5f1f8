package rpc

import (
	"context"
	"strings"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// RecordWaiver records that a named person accepts a caution.
func (p *Plans) RecordWaiver(ctx context.Context, r *bowrollv1.RecordWaiverRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "RecordWaiver", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		plan, err := book.Plan(ctx, id)
		if err != nil {
			return plan, err
		}
		answer, err := answerOf(plan)
		if err != nil {
			return plan, err
		}
		waiver := store.Waiver{
			Sortie: r.GetSortie(), Caution: r.GetCaution(), Authority: r.GetAuthority(), Reason: r.GetReason(), Until: r.GetUntilTime().AsTime(),
		}
		var raised []string
		for _, c := range waivable(answer, r.GetSortie()) {
			raised = append(raised, c.GetId())
			if c.GetId() == r.GetCaution() && waiver.Text == "" {
				waiver.Text = strings.ToValidUTF8(c.GetText()[:min(len(c.GetText()), mostCautionText)], "")
			}
		}
		return book.RecordWaiver(ctx, id, waiver, raised)
	})
}

// mostCautionText is how many bytes of a caution a waiver keeps: more than any that
// this service words. Answers are kept as they were sent, and entries of the log are
// read by the thousand.
const mostCautionText = 4000

// RevokeWaiver ends a waiver before its time.
func (p *Plans) RevokeWaiver(ctx context.Context, r *bowrollv1.RevokeWaiverRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "RevokeWaiver", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.RevokeWaiver(ctx, id, r.GetSortie(), r.GetCaution(), r.GetReason())
	})
}

// waivable are the cautions that an answer raises for the launch of one sortie,
// each once: those of its take-off, and those of the work on deck before it. What
// the cycle raises as a whole is of no one launch, and what a card is refused for is
// a refusal: neither is waived.
func waivable(answer *bowrollv1.CyclePlan, sortie string) (list []*bowrollv1.Caution) {
	off := launchOf(answer, sortie).GetTakeoff()
	seen := map[string]bool{}
	add := func(c *bowrollv1.Caution) {
		if !seen[c.GetId()] {
			list, seen[c.GetId()] = append(list, c), true
		}
	}
	legs := off.GetPolicy().GetLegs()
	for _, c := range off.GetCautions() {
		// Without a way out that the policy asks for there is no card.
		if c.GetId() != "failure-not-covered" || legs == bowrollv1.Legs_LEGS_NEITHER {
			add(c)
		}
	}
	for _, task := range answer.GetTimeline().GetTasks() {
		if task.GetSortie() != sortie {
			continue
		}
		for _, c := range answer.GetCautions() {
			late, over := c.GetId() == "timeline-late" && task.GetDelayS() > 0, c.GetId() == "over-hold" && task.OverHoldS != nil
			if (late || over) && !task.GetHeld() {
				add(c)
			}
		}
	}
	return list
}

// waiversOf are the waivers of a sortie, as they stand at an instant.
func waiversOf(plan *store.Plan, sortie string, now time.Time) (list []*bowrollv1.Waiver) {
	for i := range plan.Waivers {
		w := &plan.Waivers[i]
		if w.Sortie != sortie {
			continue
		}
		state := bowrollv1.WaiverState_WAIVER_STATE_ENDED
		switch {
		case !w.Revoked.IsZero():
			state = bowrollv1.WaiverState_WAIVER_STATE_REVOKED
		case w.InForce(now):
			state = bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE
		}
		list = append(list, &bowrollv1.Waiver{
			Caution: w.Caution, Text: w.Text, Authority: w.Authority, Reason: w.Reason, UntilTime: stamp(w.Until), State: state,
			CardRevision: int32(w.Card), Actor: w.Actor, CreateTime: stamp(w.Time),
			RevokeTime: stamp(w.Revoked), RevokedBy: w.RevokedBy, RevokeReason: w.RevokeReason,
		})
	}
	return list
}

// waiverSides says of each waiver that the card of a sortie says whether it is in
// force still. Of one that was revoked the card's own reason for being void says so.
func waiverSides(plan *store.Plan, s *store.Sortie, now time.Time) (sides []*bowrollv1.BoxSide) {
	for i := range plan.Waivers {
		w := &plan.Waivers[i]
		if w.Sortie != s.ID || w.Card != s.Card || !w.Revoked.IsZero() {
			continue
		}
		until, side := w.Until.Format(time.RFC3339), &bowrollv1.BoxSide{Quantity: "waiver", Holds: w.InForce(now)}
		side.Text = "The waiver of " + w.Caution + " by " + w.Authority + " is in force until " + until + "."
		if !side.Holds {
			side.Text = "The waiver of " + w.Caution + " by " + w.Authority + " ended " + until + "."
		}
		sides = append(sides, side)
	}
	return sides
}
