package store

import "time"

// PlanState is where a plan stands.
type PlanState string

// The states of a plan.
const (
	// Draft: kept, nothing is reserved.
	Draft PlanState = "draft"
	// Confirmed: every unit it needs is reserved for it.
	Confirmed PlanState = "confirmed"
	// Cancelled: given up; its units went back.
	Cancelled PlanState = "cancelled"
	// Expired: its reservations ran out before the units were issued.
	Expired PlanState = "expired"
	// Closed: every sortie has its outcome.
	Closed PlanState = "closed"
)

// SortieState is where a sortie of a plan stands.
type SortieState string

// The states of a sortie.
const (
	// SortiePlanned: nothing has been done yet.
	SortiePlanned SortieState = "planned"
	// SortieCard: its launch card is out.
	SortieCard SortieState = "card_issued"
	// SortieVoid: its card holds no longer.
	SortieVoid SortieState = "void"
	// SortieLaunched: it launched.
	SortieLaunched SortieState = "launched"
	// SortieScrubbed: it will not launch; its units went back.
	SortieScrubbed SortieState = "scrubbed"
)

// Plan is a plan that is kept: what was asked, what was answered, and what has
// become of it.
type Plan struct {
	Site string
	ID   string
	// DisplayName is a name for people.
	DisplayName string
	State       PlanState
	// HoldUntil is when reservations lapse.
	HoldUntil time.Time
	// ModelVersion, CatalogRevision and RequestDigest pin what the plan was
	// computed from.
	ModelVersion    string
	CatalogRevision string
	RequestDigest   string
	// Cycle and Answer are the encoded question and answer. The store does not
	// look inside.
	Cycle  []byte
	Answer []byte
	// Sorties are the sorties that launch, in launch order.
	Sorties []Sortie
	// Waivers are all that were recorded, in the order of the log.
	Waivers []Waiver
	// Reason says why it was cancelled or expired.
	Reason string

	CreateTime time.Time
	UpdateTime time.Time
	// Seq is the entry of the log that last changed it.
	Seq int64
}

// Sortie is what a plan keeps of one launch.
type Sortie struct {
	ID    string      `json:"id"`
	State SortieState `json:"state"`
	// LaunchTime is when it is to launch, and once it has, when it did.
	LaunchTime time.Time `json:"launch_time"`
	// Draws are the units it needs.
	Draws []Draw `json:"draws,omitempty"`
	// Card is the revision of its launch card, from 1; 0 where none was issued.
	Card int `json:"card,omitempty"`
	// CardUntil is when the card runs out.
	CardUntil time.Time `json:"card_until,omitzero"`
	// Box is the box inside which the card holds, as the caller encoded it.
	Box []byte `json:"box,omitempty"`
	// Void lists why the card holds no longer.
	Void []string `json:"void,omitempty"`
}

// Draw is a number of units from one lot.
type Draw struct {
	Lot   string `json:"lot"`
	Count int    `json:"count"`
	// Units are the serials reserved, one for each unit of Count, in order.
	Units []string `json:"units,omitempty"`
	// Stations are where they go, as many as units; empty where it was not said.
	Stations []string `json:"stations,omitempty"`
}

// PlanFilter selects plans. Empty fields select all.
type PlanFilter struct {
	State PlanState
}

// CatalogRevision is one whole state of the catalog.
type CatalogRevision struct {
	// Revision is the digest of its content, e.g. "sha256:0123456789abcdef".
	Revision string
	// Seq numbers the revisions of a site from 1. It is set by the store.
	Seq int64
	// Actor is who made it, and Note why.
	Actor string
	Note  string
	// Body is the encoded catalog. The store does not look inside.
	Body []byte

	CreateTime time.Time
}

// Fleet is the site under which the catalog that ships have in common is kept.
// It holds no stock, and no site of people can have its name.
const Fleet = "@fleet"
