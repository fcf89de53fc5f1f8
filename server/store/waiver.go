package store

import (
	"encoding/json"
	"time"
)

// Waiver is a named person's acceptance, in writing, of one caution for one sortie
// of a plan. It changes no number and permits nothing that is refused without it.
type Waiver struct {
	Sortie string `json:"sortie"`
	// Caution is the code of the caution, and Text its words as they were accepted.
	Caution string `json:"caution"`
	Text    string `json:"text"`
	// Authority is the person who accepts it, Reason why, and Until when the
	// acceptance ends.
	Authority string    `json:"authority"`
	Reason    string    `json:"reason"`
	Until     time.Time `json:"until"`
	// Actor is who recorded it, and Time when.
	Actor string    `json:"actor"`
	Time  time.Time `json:"time"`
	// Card is the last revision of the sortie's card that was issued while the
	// waiver was in force, and so says it; 0 where none was.
	Card int `json:"card,omitempty"`
	// Revoked is when it was ended before its time, by whom and why; zero where it
	// was not.
	Revoked      time.Time `json:"revoked,omitzero"`
	RevokedBy    string    `json:"revoked_by,omitempty"`
	RevokeReason string    `json:"revoke_reason,omitempty"`
}

// InForce reports whether the waiver is in force at an instant.
func (w *Waiver) InForce(at time.Time) bool { return w.Revoked.IsZero() && at.Before(w.Until) }

// WaiverInForce returns the waiver of a caution of a sortie that is in force at an
// instant; nil where there is none. There is never more than one.
func (p *Plan) WaiverInForce(sortie, caution string, at time.Time) *Waiver {
	for i := range p.Waivers {
		if w := &p.Waivers[i]; w.Sortie == sortie && w.Caution == caution && w.InForce(at) {
			return w
		}
	}
	return nil
}

// PutWaiversOnCard says of the waivers in force at an instant that the card of
// their sortie, as issued then, says them.
func (p *Plan) PutWaiversOnCard(sortie *Sortie, at time.Time) {
	for i := range p.Waivers {
		if w := &p.Waivers[i]; w.Sortie == sortie.ID && w.InForce(at) {
			w.Card = sortie.Card
		}
	}
}

// WaiverDetail is the detail of an entry that records or revokes a waiver.
type WaiverDetail struct {
	Caution string `json:"caution"`
	// Text is the caution in words; left out where a waiver is revoked.
	Text string `json:"text,omitempty"`
}

// waived adds or ends the waiver that an entry speaks of.
func (p *Plan) waived(m Movement) error {
	var detail WaiverDetail
	if err := json.Unmarshal(m.Detail, &detail); err != nil {
		return &Error{Class: Corrupt, Reason: "LOG_DETAIL", Text: "the detail of a waiver cannot be read", Err: err}
	}
	if m.Event == RecordWaiver {
		p.Waivers = append(p.Waivers, Waiver{
			Sortie: m.Sortie, Caution: detail.Caution, Text: detail.Text, Authority: m.Authority, Reason: m.Reason,
			Until: m.Until, Actor: m.Actor, Time: m.Time,
		})
		return nil
	}
	w := p.WaiverInForce(m.Sortie, detail.Caution, m.Time)
	if w == nil {
		return Errorf(Corrupt, "LOG_IMPOSSIBLE", "entry %d ends a waiver of %s for sortie %s, and none is in force", m.Seq, detail.Caution, m.Sortie)
	}
	w.Revoked, w.RevokedBy, w.RevokeReason = m.Time, m.Actor, m.Reason
	return nil
}
