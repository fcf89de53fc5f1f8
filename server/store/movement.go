package store

import (
	"crypto/sha256"
	"encoding/binary"
	"time"
)

// The events of the log that are not events of a unit.
const (
	// ReceiveLot and ChangeLot carry the lot in Detail.
	ReceiveLot Event = "receive_lot"
	ChangeLot  Event = "change_lot"
	// Suspend and Lift overlay the states of all units of a lot.
	Suspend Event = "suspend"
	Lift    Event = "lift"
	// Read says that readings of a lot came in; Detail holds their digest.
	Read Event = "read"
	// CountStock says that units were counted; Detail holds the differences.
	CountStock Event = "count"
	// The events of plans and of their sorties.
	SavePlan    Event = "save_plan"
	ConfirmPlan Event = "confirm_plan"
	CancelPlan  Event = "cancel_plan"
	ExpirePlan  Event = "expire_plan"
	ClosePlan   Event = "close_plan"
	IssueCard   Event = "issue_card"
	VoidCard    Event = "void_card"
	Launch      Event = "launch"
	Scrub       Event = "scrub"
	// RecordWaiver and RevokeWaiver name the caution in Detail.
	RecordWaiver Event = "record_waiver"
	RevokeWaiver Event = "revoke_waiver"
)

// Hash is a SHA-256 sum.
type Hash [sha256.Size]byte

// Head is the end of a log.
type Head struct {
	// Seq is the number of the last entry, 0 for an empty log.
	Seq int64
	// Hash is its hash, zeros for an empty log.
	Hash Hash
}

// Movement is one entry of the log of a site: what happened to a unit, a lot or
// a plan. Entries are never changed.
type Movement struct {
	Site string
	// Seq numbers the entries of a site from 1, without gaps.
	Seq int64
	// Time is the wall clock of the site. It orders nothing.
	Time  time.Time
	Event Event
	// Lot, Unit, Plan and Sortie are what it happened to; empty where it
	// concerns none.
	Lot    string
	Unit   string
	Plan   string
	Sortie string
	// From and To are the states of the unit before and after.
	From State
	To   State
	// Actor is who did it, as known to the service; Place where, Reason why.
	Actor  string
	Place  string
	Reason string
	// Authority is the person by whose authority it was done, where one is needed.
	Authority string
	// Igniter is the serial of the igniter fitted or removed.
	Igniter string
	// Until is, by event: the end of a reservation, of a card, of a waiver, of the
	// waiting time after a misfire, or of the time a unit may be used.
	Until time.Time
	// Request is the id of the request that asked for it.
	Request string
	// Detail is what else belongs to it, as canonical JSON.
	Detail []byte
	// Previous is the hash of the entry before, zeros for the first, and Hash
	// the hash over this entry with Previous in it.
	Previous Hash
	Hash     Hash
}

// MovementFilter selects entries of a log. Empty fields select all.
type MovementFilter struct {
	Lot  string
	Unit string
	Plan string
}

// Sum returns the hash over an entry: SHA-256 over a version tag and every
// field but Hash, each with its length before it, in the order of the struct.
// Times are microseconds since 1970, numbers 8 bytes, big-endian.
func (m *Movement) Sum() Hash {
	b := make([]byte, 0, 512+len(m.Detail))
	b = append(b, "bowroll movement 1\n"...)
	b = appendText(b, m.Site)
	b = binary.BigEndian.AppendUint64(b, uint64(m.Seq))
	b = binary.BigEndian.AppendUint64(b, uint64(Micros(m.Time)))
	for _, text := range [...]string{
		string(m.Event), m.Lot, m.Unit, m.Plan, m.Sortie, string(m.From), string(m.To),
		m.Actor, m.Place, m.Reason, m.Authority, m.Igniter,
	} {
		b = appendText(b, text)
	}
	b = binary.BigEndian.AppendUint64(b, uint64(Micros(m.Until)))
	b = appendText(b, m.Request)
	b = binary.BigEndian.AppendUint32(b, uint32(len(m.Detail)))
	b = append(b, m.Detail...)
	b = append(b, m.Previous[:]...)
	return sha256.Sum256(b)
}

func appendText(b []byte, text string) []byte {
	b = binary.BigEndian.AppendUint32(b, uint32(len(text)))
	return append(b, text...)
}

// Chain numbers entries after head, links each to the one before it, and
// returns the new head.
func Chain(head Head, movements []Movement) Head {
	for i := range movements {
		m := &movements[i]
		m.Seq = head.Seq + 1
		m.Previous = head.Hash
		m.Hash = m.Sum()
		head = Head{Seq: m.Seq, Hash: m.Hash}
	}
	return head
}

// VerifyChain checks that entries of site follow head without a gap and that every hash
// is right, and returns the new head. An error is [Corrupt] and names the entry.
func VerifyChain(site string, head Head, movements []Movement) (Head, error) {
	for i := range movements {
		m := &movements[i]
		switch {
		case m.Site != site:
			return head, Errorf(Corrupt, "LOG_OTHER_SITE", "entry %d of the log of %s is of site %s", m.Seq, site, m.Site)
		case m.Seq != head.Seq+1:
			return head, Errorf(Corrupt, "LOG_GAP", "entry %d of the log of %s follows entry %d", m.Seq, site, head.Seq)
		case m.Previous != head.Hash:
			return head, Errorf(Corrupt, "LOG_BROKEN", "entry %d of the log of %s does not follow from the one before it", m.Seq, site)
		case m.Hash != m.Sum():
			return head, Errorf(Corrupt, "LOG_ALTERED", "entry %d of the log of %s is not what was written", m.Seq, site)
		}
		head = Head{Seq: m.Seq, Hash: m.Hash}
	}
	return head, nil
}

// Micros returns t in microseconds since 1970, 0 for the zero time.
func Micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

// FromMicros is the inverse of [Micros]; the result is in UTC.
func FromMicros(us int64) time.Time {
	if us == 0 {
		return time.Time{}
	}
	return time.UnixMicro(us).UTC()
}
