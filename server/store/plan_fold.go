package store

import (
	"encoding/json"
	"slices"
	"time"
)

// After returns the plan as entry m leaves it. The receiver is the zero Plan with
// its content where m saves it. Entries of units change the plan only in that
// they say which serials it was promised.
func (p Plan) After(m Movement) (Plan, error) {
	p.Sorties, p.Waivers = slices.Clone(p.Sorties), slices.Clone(p.Waivers)
	switch m.Event {
	case SavePlan:
		return p.saved(m)
	case Reserve:
		return p, p.promise(m)
	case ConfirmPlan:
		p.State, p.HoldUntil = Confirmed, m.Until
	case CancelPlan:
		p.State, p.Reason = Cancelled, m.Reason
	case ExpirePlan:
		p.State, p.Reason = Expired, m.Reason
	case ClosePlan:
		p.State = Closed
	case IssueCard, VoidCard, Launch, Scrub:
		sortie, err := p.sortie(m)
		if err != nil {
			return p, err
		}
		if err := sortie.after(m); err != nil {
			return p, err
		}
		if m.Event == IssueCard {
			p.PutWaiversOnCard(sortie, m.Time)
		}
	case RecordWaiver, RevokeWaiver:
		if err := p.waived(m); err != nil {
			return p, err
		}
	default:
		return p, nil // of a unit that the plan holds
	}
	p.Seq, p.UpdateTime = m.Seq, m.Time
	return p, nil
}

// saved is the plan as it is first kept.
func (p Plan) saved(m Movement) (Plan, error) {
	var pinned struct {
		ModelVersion    string `json:"model_version"`
		CatalogRevision string `json:"catalog_revision"`
		RequestDigest   string `json:"request_digest"`
	}
	if err := json.Unmarshal(m.Detail, &pinned); err != nil {
		return p, &Error{Class: Corrupt, Reason: "LOG_DETAIL", Text: "the detail of a plan cannot be read", Err: err}
	}
	p.Site, p.ID, p.DisplayName, p.State = m.Site, m.Plan, m.Reason, Draft
	p.ModelVersion, p.CatalogRevision, p.RequestDigest = pinned.ModelVersion, pinned.CatalogRevision, pinned.RequestDigest
	for i := range p.Sorties {
		p.Sorties[i].State = SortiePlanned
	}
	p.CreateTime, p.UpdateTime, p.Seq = m.Time, m.Time, m.Seq
	return p, nil
}

func (p Plan) sortie(m Movement) (*Sortie, error) {
	for i := range p.Sorties {
		if p.Sorties[i].ID == m.Sortie {
			return &p.Sorties[i], nil
		}
	}
	return nil, Errorf(Corrupt, "LOG_IMPOSSIBLE", "entry %d is of sortie %s, which plan %s does not have", m.Seq, m.Sortie, m.Plan)
}

// promise adds a serial to the draw that it was reserved for: the first of its
// lot with room, or one of igniters, which plans get when they are confirmed.
func (p Plan) promise(m Movement) error {
	sortie, err := p.sortie(m)
	if err != nil {
		return err
	}
	sortie.Draws = slices.Clone(sortie.Draws)
	for i := range sortie.Draws {
		draw := &sortie.Draws[i]
		if draw.Lot == m.Lot && len(draw.Units) < draw.Count {
			draw.Units = append(slices.Clone(draw.Units), m.Unit)
			return nil
		}
	}
	if last := len(sortie.Draws) - 1; last >= 0 && sortie.Draws[last].Lot == m.Lot {
		draw := &sortie.Draws[last]
		draw.Count, draw.Units = draw.Count+1, append(slices.Clone(draw.Units), m.Unit)
		return nil
	}
	sortie.Draws = append(sortie.Draws, Draw{Lot: m.Lot, Count: 1, Units: []string{m.Unit}})
	return nil
}

// CardDetail is the detail of an entry that issues a card.
type CardDetail struct {
	// Box is the digest of the card's box, and Sides the box itself; entries of
	// earlier programs have no Sides.
	Box   string `json:"box"`
	Sides []byte `json:"sides"`
}

// LaunchDetail is the detail of an entry that records a launch.
type LaunchDetail struct {
	LaunchTime time.Time `json:"launch_time"`
}

func (s *Sortie) after(m Movement) error {
	switch m.Event {
	case IssueCard:
		var detail CardDetail
		if err := json.Unmarshal(m.Detail, &detail); err != nil {
			return &Error{Class: Corrupt, Reason: "LOG_DETAIL", Text: "the detail of a card cannot be read", Err: err}
		}
		s.State, s.Void, s.Box, s.CardUntil = SortieCard, nil, detail.Sides, m.Until
		s.Card++
		if detail.Sides == nil {
			// A card without its box would seem to hold whatever the wind does.
			s.State, s.Void = SortieVoid, []string{"the log does not say the box of this card: ask the site"}
		}
	case VoidCard:
		s.State, s.Void = SortieVoid, append(slices.Clone(s.Void), m.Reason)
	case Launch:
		var detail LaunchDetail
		if err := json.Unmarshal(m.Detail, &detail); err != nil {
			return &Error{Class: Corrupt, Reason: "LOG_DETAIL", Text: "the detail of a launch cannot be read", Err: err}
		}
		s.State, s.LaunchTime = SortieLaunched, detail.LaunchTime
	case Scrub:
		s.State = SortieScrubbed
	}
	return nil
}
