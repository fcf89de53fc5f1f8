package ledger

import (
	"context"
	"slices"
	"strings"
	"time"

	"bowroll/server/store"
)

// MostWaivers is how many waivers a plan keeps, those that ended among them.
const MostWaivers = 1000

// RecordWaiver records that a named person accepts one caution of a sortie, for a
// reason and until a time; w says which and who. Raised are the codes of the
// cautions that the plan's answer raises for the sortie's launch. Every fault is
// named at once.
//
// A waiver is a record and nothing more: no rule of this package looks for one to
// let through what it would refuse. So a waiver does not let igniters be fitted
// before the aircraft is at its launch point ([Book.Take] refuses that step unless
// it itself names the authority for it), nor near a misfire, nor a barred lot fly.
func (b *Book) RecordWaiver(ctx context.Context, id string, w store.Waiver, raised []string) (store.Plan, error) {
	plan, sortie, err := b.waivable(ctx, id, w.Sortie, "waived for")
	if err != nil {
		return store.Plan{}, err
	}
	var faults store.Errors
	fault := func(wrong bool, field, reason, format string, args ...any) {
		if wrong {
			faults = append(faults, store.Errorf(store.Invalid, reason, format, args...).At(field))
		}
	}
	fault(!slices.Contains(raised, w.Caution), "caution", "CAUTION_NOT_RAISED",
		"the launch of %s does not raise %s: it raises %s; what is refused, or what the cycle as a whole raises, is never waived", w.Sortie, w.Caution, listed(raised))
	fault(strings.TrimSpace(w.Authority) == "", "authority", "AUTHORITY_MISSING", "name the person who accepts the caution: a waiver without a name is none")
	fault(strings.TrimSpace(w.Reason) == "", "reason", "REASON_MISSING", "say why the caution is accepted")
	fault(!w.Until.After(b.by.Time), "until_time", "WAIVER_PAST", "a waiver until %s would have ended already: it is %s",
		w.Until.UTC().Format(rfc3339), b.by.Time.Format(rfc3339))
	if len(faults) > 0 {
		return *plan, faults
	}
	if known := plan.WaiverInForce(w.Sortie, w.Caution, b.by.Time); known != nil {
		return *plan, store.Errorf(store.Refused, "WAIVER_IN_FORCE", "%s of sortie %s is waived by %s until %s already: revoke that waiver first, or wait until it ends",
			w.Caution, sortie.ID, known.Authority, known.Until.Format(rfc3339)).With("until_time", known.Until.Format(rfc3339))
	}
	if len(plan.Waivers) >= MostWaivers {
		return *plan, store.Errorf(store.Refused, "WAIVERS_FULL", "plan %s has %d waivers, ended ones among them, and takes no more: save the cycle as a new plan", id, MostWaivers)
	}
	m := b.record(store.Movement{
		Event: store.RecordWaiver, Plan: id, Sortie: w.Sortie, Authority: w.Authority, Reason: w.Reason, Until: w.Until,
		Detail: detail(store.WaiverDetail{Caution: w.Caution, Text: w.Text}),
	})
	return b.foldWaiver(plan, m)
}

// RevokeWaiver ends a waiver before its time. A card that was issued while it was
// in force says it, and is void with it.
func (b *Book) RevokeWaiver(ctx context.Context, id, name, caution, reason string) (store.Plan, error) {
	plan, sortie, err := b.waivable(ctx, id, name, "changed")
	if err != nil {
		return store.Plan{}, err
	}
	if strings.TrimSpace(reason) == "" {
		return *plan, store.Errorf(store.Invalid, "REASON_MISSING", "say why the waiver is revoked").At("reason")
	}
	w := plan.WaiverInForce(name, caution, b.by.Time)
	if w == nil {
		var others []string
		for i := range plan.Waivers {
			if other := &plan.Waivers[i]; other.Sortie == name && other.InForce(b.by.Time) {
				others = append(others, other.Caution)
			}
		}
		return *plan, store.Errorf(store.Refused, "NO_WAIVER_IN_FORCE", "no waiver of %s is in force for sortie %s; in force for it: %s", caution, name, listed(others)).
			With("caution", caution)
	}
	said := sortie.State == store.SortieCard && w.Card == sortie.Card
	why := "the waiver of " + caution + " by " + w.Authority + " was revoked: " + reason
	m := b.record(store.Movement{
		Event: store.RevokeWaiver, Plan: id, Sortie: name, Reason: reason,
		Detail: detail(store.WaiverDetail{Caution: caution}),
	})
	if _, err := b.foldWaiver(plan, m); err != nil || !said {
		return *plan, err
	}
	_, err = b.void(ctx, id, name, why)
	return *plan, err
}

// foldWaiver takes an entry that records or revokes a waiver into the plan.
func (b *Book) foldWaiver(plan *store.Plan, m store.Movement) (store.Plan, error) {
	after, err := plan.After(m)
	if err != nil {
		return *plan, err
	}
	*plan = after
	b.changedPlan(m)
	return after, nil
}

// waivable returns a sortie that may still launch, of a plan that still stands.
func (b *Book) waivable(ctx context.Context, id, name, done string) (*store.Plan, *store.Sortie, error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if plan.State != store.Draft && plan.State != store.Confirmed {
		return nil, nil, planIs(plan, done)
	}
	launches := make([]string, len(plan.Sorties))
	for i := range plan.Sorties {
		sortie := &plan.Sorties[i]
		launches[i] = sortie.ID
		switch {
		case sortie.ID != name:
		case sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed:
			return nil, nil, sortieIs(plan, sortie, done)
		default:
			return plan, sortie, nil
		}
	}
	return nil, nil, store.Errorf(store.NotFound, "SORTIE_NOT_FOUND",
		"plan %s does not launch %s: it launches %s; what holds a sortie is a refusal, and no waiver lifts one", id, name, listed(launches)).
		At("sortie").With("sortie", name)
}

// waiverEnds says where a card of a sortie would outlive a waiver that it says.
func waiverEnds(plan *store.Plan, sortie *store.Sortie, until, now time.Time) (faults store.Errors) {
	for i := range plan.Waivers {
		if w := &plan.Waivers[i]; w.Sortie == sortie.ID && w.InForce(now) && until.After(w.Until) {
			end := w.Until.Format(rfc3339)
			faults = append(faults, store.Errorf(store.Refused, "CARD_OUTLIVES_WAIVER",
				"the card would say that %s is waived by %s, which ends %s: let the card end by then, or revoke the waiver and have it recorded for longer",
				w.Caution, w.Authority, end).At("until_time").With("until_time", end).With("caution", w.Caution))
		}
	}
	return faults
}

// listed joins names, "none" where there are none.
func listed(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return join(names)
}
