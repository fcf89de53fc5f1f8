package card

import (
	"fmt"
	"time"

	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Waiver is a named person's acceptance of a caution, in force when the card was
// issued. It leaves the caution as it stands.
type Waiver struct {
	Authority string    `json:"authority"`
	Reason    string    `json:"reason"`
	Until     time.Time `json:"until_time"`
}

// waived puts each waiver that the card was issued with beside the caution that it
// covers. Those recorded since are not on the card that is out, and are not put on
// it: what is printed again is the card that was issued.
func (k *Kept) waived(list []Caution) []Caution {
	for _, w := range k.Sortie.GetWaivers() {
		if w.GetCardRevision() == 0 || w.GetCardRevision() != k.Sortie.GetCardRevision() {
			continue
		}
		waiver := &Waiver{Authority: w.GetAuthority(), Reason: w.GetReason(), Until: w.GetUntilTime().AsTime().UTC()}
		found := false
		for i := range list {
			if list[i].id == w.GetCaution() {
				list[i].Waiver, found = waiver, true
			}
		}
		if !found { // nobody's signature is left out
			list = append(list, Caution{id: w.GetCaution(), Severity: severityWord(bowrollv1.Severity_SEVERITY_CAUTION), Text: w.GetText(), Waiver: waiver})
		}
	}
	return list
}

// waivers is where the card says that it has some; without one a line is left for
// what is accepted by hand.
func (s setting) waivers() paper.Field {
	count := 0
	for _, c := range s.Cautions {
		if c.Waiver != nil {
			count++
		}
	}
	switch count {
	case 0:
		return paper.Field{Label: "Waivers", Hand: true}
	case 1:
		return paper.Field{Label: "Waivers", Value: "1, beside its caution"}
	}
	return paper.Field{Label: "Waivers", Value: fmt.Sprintf("%d, beside their cautions", count)}
}

// waived says who accepted the caution above it; the day where it is not the slot's.
func (s setting) waived(w *Waiver) paper.Line {
	until, day := clockOf(w.Until), w.Until.Format("2 Jan 2006")
	if day != s.Slot.Format("2 Jan 2006") {
		until = day + " " + until
	}
	return paper.Line{Label: "waived", Text: "by " + w.Authority + " until " + until + " UTC: " + w.Reason}
}
