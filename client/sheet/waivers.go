package sheet

import (
	"encoding/json"
	"fmt"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// waivers draws every waiver of a plan's sorties: who accepted which caution, why
// and until when, and whether it is in force.
func (p *page) waivers(sorties []*bowrollv1.PlanSortie) {
	const at = 10
	some := false
	for _, s := range sorties {
		for _, w := range s.GetWaivers() {
			if !some {
				p.heading("WAIVERS", "they change no number and permit nothing that is refused")
				some = true
			}
			tone := toneQuiet
			if w.GetState() == bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE {
				tone = toneCare
			}
			p.labelled(tone, word(w.GetState()), tonePlain, fmt.Sprintf("%s, %s: waived by %s until %s UTC: %s",
				s.GetId(), w.GetCaution(), w.GetAuthority(), instant(w.GetUntilTime()), w.GetReason()), at)
			p.labelled(toneQuiet, "", toneQuiet, "accepted: "+w.GetText(), at)
			if w.GetRevokeTime() != nil {
				p.labelled(toneQuiet, "", tonePlain, fmt.Sprintf("revoked %s UTC by %s: %s", instant(w.GetRevokeTime()), w.GetRevokedBy(), w.GetRevokeReason()), at)
			}
			out := s.GetState() == bowrollv1.SortieState_SORTIE_STATE_CARD_ISSUED
			if out && w.GetState() == bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE && w.GetCardRevision() != s.GetCardRevision() {
				p.labelled(toneQuiet, "", toneCare, fmt.Sprintf("card %d was issued before it and does not say it: issue the card anew", s.GetCardRevision()), at)
			}
		}
	}
}

// waivedIn is the caution that an entry of the log records or revokes a waiver of;
// empty where it does neither.
func waivedIn(m *bowrollv1.Movement) string {
	var detail struct {
		Caution string `json:"caution"`
	}
	if json.Unmarshal([]byte(m.GetDetail()), &detail) != nil {
		return "" // most entries have none, or another
	}
	return detail.Caution
}
