package store

import "time"

// Kind is what the units of a lot are.
type Kind string

// The kinds of lot. Igniters are stock of their own: they are stowed apart and
// fitted last.
const (
	Booster Kind = "booster"
	Igniter Kind = "igniter"
)

// Lot is a number of units of one type, made and kept together.
type Lot struct {
	Site string `json:"-"`
	ID   string `json:"-"`
	// Kind says whether the units are boosters or igniters.
	Kind Kind `json:"kind"`
	// Type is the name of the type, e.g. "boosterTypes/b1000".
	Type string `json:"type"`
	// DisplayName is a name for people.
	DisplayName string `json:"display_name,omitempty"`
	// ExpireTime is the instant after which no unit of the lot may be used.
	ExpireTime time.Time `json:"expire_time"`
	// StowageLeastC and StowageGreatestC bound the temperature to stow at, in
	// degrees Celsius; nil where unknown, which is not the same as unbounded: no
	// reading can then show the lot to be fit.
	StowageLeastC    *float64 `json:"stowage_least_c,omitempty"`
	StowageGreatestC *float64 `json:"stowage_greatest_c,omitempty"`
	// HumidityGreatest bounds the relative humidity, 0 to 1; nil where unbounded.
	HumidityGreatest *float64 `json:"humidity_greatest,omitempty"`
	// ReadingGapS is the longest time between readings that still counts as
	// watched, in seconds; 0 where no rule is known.
	ReadingGapS float64 `json:"reading_gap_s,omitempty"`
	// MisfireWaitS is how long to stay away from a unit that misfired, in
	// seconds; nil where unknown: nobody may approach then.
	MisfireWaitS *float64 `json:"misfire_wait_s,omitempty"`
	// IgniterType is the type of the separate igniter that each unit needs;
	// empty where the igniter is part of the unit.
	IgniterType string `json:"igniter_type,omitempty"`
	// OutOfPackS is how long an igniter may be out of its pack before it is
	// armed, in seconds; nil where no limit is known.
	OutOfPackS *float64 `json:"out_of_pack_s,omitempty"`

	// Suspended holds the reason for which the lot is suspended; empty where it
	// is not. A suspension overlays the states of all its units.
	Suspended string `json:"-"`
	// ReceivedCount counts the units ever received. It equals the sum over the
	// states of the lot's units.
	ReceivedCount int `json:"-"`

	CreateTime time.Time `json:"-"`
	UpdateTime time.Time `json:"-"`
	// Seq is the entry of the log that last changed the lot itself.
	Seq int64 `json:"-"`
}

// Barred returns why nothing of the lot may be used at an instant; empty where
// it may.
func (l Lot) Barred(at time.Time) string {
	switch {
	case l.Suspended != "":
		return "suspended: " + l.Suspended
	case at.After(l.ExpireTime):
		return "expired " + l.ExpireTime.Format(time.RFC3339)
	}
	return ""
}
