package main

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/gather"
	"bowroll/client/sheet/card"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// withinWaivers makes sure, before any card is issued, that none would outlive a
// waiver that it says: the service would refuse that one after it had issued others.
func withinWaivers(plan *bowrollv1.Plan, sources []card.Sources, until *timestamppb.Timestamp) error {
	var ends, which []string
	for _, s := range sources {
		sortie := gather.PlanSortie(plan, s.Launch.GetSortie())
		if !waits(sortie) {
			continue
		}
		early := len(ends)
		for _, w := range sortie.GetWaivers() {
			if end := w.GetUntilTime().AsTime(); w.GetState() == bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE && until.AsTime().After(end) {
				ends = append(ends, fmt.Sprintf("that of %s for %s ends %s", w.GetCaution(), sortie.GetId(), end.UTC().Format(time.RFC3339)))
			}
		}
		if len(ends) > early {
			which = append(which, "--sortie "+sortie.GetId())
		}
	}
	if len(ends) == 0 {
		return nil
	}
	return badInput{fmt.Errorf("--until %s: a card ends no later than the waivers that it says, and %s; no card was issued: say an earlier time, or issue those cards by themselves with %s",
		until.AsTime().UTC().Format(time.RFC3339), strings.Join(ends, ", "), strings.Join(which, " "))}
}

// waits reports whether a sortie waits for a card: it has none that is out, and has
// neither launched nor been scrubbed.
func waits(s *bowrollv1.PlanSortie) bool {
	switch s.GetState() {
	case bowrollv1.SortieState_SORTIE_STATE_CARD_ISSUED, bowrollv1.SortieState_SORTIE_STATE_LAUNCHED, bowrollv1.SortieState_SORTIE_STATE_SCRUBBED:
		return false
	}
	return true
}
