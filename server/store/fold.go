package store

import (
	"encoding/json"
	"time"
)

// Fold is the state of a site's stock as its log gives it. The zero value is
// the state before the first entry.
type Fold struct {
	Head  Head
	Lots  map[string]Lot
	Units map[string]Unit
}

// Apply adds one entry to the fold. The entry must follow the head and be
// possible in the state the fold is in; otherwise the error is [Corrupt] and
// the fold is as before.
func (f *Fold) Apply(m Movement) error {
	head, err := VerifyChain(m.Site, f.Head, []Movement{m})
	if err != nil {
		return err
	}
	if f.Lots == nil {
		f.Lots, f.Units = map[string]Lot{}, map[string]Unit{}
	}
	switch {
	case m.Unit != "":
		unit, err := f.Units[m.Unit].After(m)
		if err != nil {
			return err
		}
		f.Units[m.Unit] = unit
		if m.Event == Receive {
			lot := f.Lots[m.Lot]
			lot.ReceivedCount++
			f.Lots[m.Lot] = lot
		}
	case m.Lot != "":
		lot, err := f.Lots[m.Lot].After(m)
		if err != nil {
			return err
		}
		f.Lots[m.Lot] = lot
	}
	f.Head = head
	return nil
}

// After returns the unit as entry m leaves it. The receiver is the zero Unit
// where m receives it.
func (u Unit) After(m Movement) (Unit, error) {
	if to, ok := Next(u.State, m.Event); !ok || u.State != m.From || to != m.To {
		return u, Errorf(Corrupt, "LOG_IMPOSSIBLE", "entry %d takes unit %s from %q by %s to %q, but it is %q",
			m.Seq, m.Unit, m.From, m.Event, m.To, u.State)
	}
	if m.Event == Receive {
		u = Unit{Site: m.Site, ID: m.Unit, Lot: m.Lot, UsableUntil: m.Until, CreateTime: m.Time}
	}
	switch m.Event {
	case Reserve:
		u.Plan, u.Sortie, u.Until = m.Plan, m.Sortie, m.Until
	case Issue:
		u.IssueTime = m.Time
	case FitIgniter:
		u.Igniter = m.Igniter
	case RemoveIgniter:
		u.Igniter = ""
	case Misfire:
		u.WaitUntil = m.Until
	case Overexpose:
		if !m.Until.IsZero() && m.Until.Before(u.UsableUntil) {
			u.UsableUntil = m.Until
		}
	}
	if m.From != m.To {
		u.settle(m)
	}
	u.State = m.To
	if m.Place != "" {
		u.Place = m.Place
	}
	u.UpdateTime, u.Seq = m.Time, m.Seq
	return u, nil
}

// settle forgets what no longer holds in the new state.
func (u *Unit) settle(m Movement) {
	if !m.To.Held() {
		u.Plan, u.Sortie, u.Until = "", "", time.Time{}
		u.IssueTime = time.Time{}
	}
	switch m.To {
	case Misfired:
		u.Cause = string(m.Event)
	case Quarantined, Expended, HungUp, Lost, Condemned:
		// The igniter goes its own way, with entries of its own.
		u.Cause, u.Igniter = string(m.Event), ""
		u.WaitUntil = time.Time{}
	case Available, Received, Inspected:
		u.Cause = ""
		u.WaitUntil = time.Time{}
	}
}

// After returns the lot as entry m leaves it. The receiver is the zero Lot
// where m receives it.
func (l Lot) After(m Movement) (Lot, error) {
	switch m.Event {
	case ReceiveLot, ChangeLot:
		if (m.Event == ReceiveLot) != (l.ID == "") {
			return l, Errorf(Corrupt, "LOG_IMPOSSIBLE", "entry %d is %s of lot %s out of turn", m.Seq, m.Event, m.Lot)
		}
		next := Lot{
			Site: m.Site, ID: m.Lot, Suspended: l.Suspended, ReceivedCount: l.ReceivedCount, CreateTime: l.CreateTime,
		}
		if err := json.Unmarshal(m.Detail, &next); err != nil {
			return l, &Error{Class: Corrupt, Reason: "LOG_DETAIL", Text: "the detail of a lot cannot be read", Err: err}
		}
		if m.Event == ReceiveLot {
			next.CreateTime = m.Time
		}
		l = next
	case Suspend:
		l.Suspended = m.Reason
	case Lift:
		l.Suspended = ""
	case Read, CountStock:
		// Recorded beside the lot; the lot itself stays as it is.
		return l, nil
	default:
		return l, Errorf(Corrupt, "LOG_IMPOSSIBLE", "entry %d is %s of lot %s", m.Seq, m.Event, m.Lot)
	}
	l.UpdateTime, l.Seq = m.Time, m.Seq
	return l, nil
}
