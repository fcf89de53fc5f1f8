package board

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// waiverView is what the page of a kept plan shows of waivers.
type waiverView struct {
	Table paper.Table // without rows where none was recorded
	// InForce are those that may be revoked: sortie and caution.
	InForce []string
	// Codes are the cautions that launches raise, for the form that waives one.
	Codes []string
}

// waiversOf gathers the waivers of a plan.
func waiversOf(plan *bowrollv1.Plan) waiverView {
	var shown waiverView
	t := paper.Table{Columns: []paper.Column{
		{Head: "Sortie"}, {Head: "Caution"}, {Head: "State", Badges: map[string]paper.Fill{"in force": paper.Open}},
		{Head: "Waived by"}, {Head: "Until"}, {Head: "Why"}, {Head: "On card", Right: true},
	}}
	for _, s := range plan.GetSorties() {
		for _, w := range s.GetWaivers() {
			why, card := w.GetReason(), ""
			if w.GetRevokeTime() != nil {
				why += "; revoked " + instant(w.GetRevokeTime()) + " by " + w.GetRevokedBy() + ": " + w.GetRevokeReason()
			}
			if w.GetCardRevision() > 0 {
				card = fmt.Sprint(w.GetCardRevision())
			}
			if w.GetState() == bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE {
				shown.InForce = append(shown.InForce, s.GetId()+" "+w.GetCaution())
			}
			t.Rows = append(t.Rows, []string{s.GetId(), w.GetCaution(), word(w.GetState()), w.GetAuthority(), instant(w.GetUntilTime()), why, card})
		}
	}
	shown.Table = t
	for _, l := range plan.GetAnswer().GetLaunches() {
		for _, c := range l.GetTakeoff().GetCautions() {
			shown.Codes = append(shown.Codes, c.GetId())
		}
	}
	for _, c := range plan.GetAnswer().GetCautions() {
		shown.Codes = append(shown.Codes, c.GetId())
	}
	slices.Sort(shown.Codes)
	shown.Codes = slices.Compact(shown.Codes)
	return shown
}

// waive records that somebody accepts a caution.
func waive(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
	until, err := instantForm(r, "waived_until", "Waived until")
	if err != nil {
		return err
	}
	_, err = b.to.Plans.RecordWaiver(ctx, &bowrollv1.RecordWaiverRequest{
		Name: name, Sortie: r.PostFormValue("sortie"), Caution: strings.TrimSpace(r.PostFormValue("caution")), Authority: strings.TrimSpace(r.PostFormValue("authority")),
		Reason: strings.TrimSpace(r.PostFormValue("reason")), UntilTime: until, Actor: actor, RequestId: request,
	})
	return err
}

// revoke ends a waiver; the form names it by its sortie and its caution.
func revoke(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
	sortie, caution, _ := strings.Cut(r.PostFormValue("waiver"), " ")
	_, err := b.to.Plans.RevokeWaiver(ctx, &bowrollv1.RevokeWaiverRequest{
		Name: name, Sortie: sortie, Caution: caution, Reason: strings.TrimSpace(r.PostFormValue("reason")), Actor: actor, RequestId: request,
	})
	return err
}
