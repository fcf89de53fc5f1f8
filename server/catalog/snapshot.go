package catalog

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
)

// A Snapshot is one state of the catalog. It never changes and may be used by
// any number of goroutines. The messages it hands out are its own: clone before
// you write to one.
type Snapshot struct {
	revision string
	aircraft kind[*bowrollv1.AircraftType]
	boosters kind[*bowrollv1.BoosterType]
	sites    kind[*bowrollv1.Site]
	decks    kind[*bowrollv1.Deck]
}

// resource is what every item of a catalog is.
type resource interface {
	proto.Message
	GetName() string
}

// kind is the items of one kind, in the order of their names.
type kind[T resource] struct {
	sorted []T
	byName map[string]T
}

func newKind[T resource](items []T) kind[T] {
	k := kind[T]{sorted: slices.Clone(items), byName: make(map[string]T, len(items))}
	slices.SortFunc(k.sorted, func(a, b T) int { return strings.Compare(a.GetName(), b.GetName()) })
	for _, item := range k.sorted {
		k.byName[item.GetName()] = item
	}
	return k
}

func (k kind[T]) names() []string {
	names := make([]string, len(k.sorted))
	for i, item := range k.sorted {
		names[i] = item.GetName()
	}
	return names
}

// revisionDigits is how much of the digest names a revision.
const revisionDigits = len("sha256:") + 16

// newSnapshot takes items that are whole and of different names.
func newSnapshot(aircraft []*bowrollv1.AircraftType, boosters []*bowrollv1.BoosterType, sites []*bowrollv1.Site, decks []*bowrollv1.Deck) *Snapshot {
	s := &Snapshot{aircraft: newKind(aircraft), boosters: newKind(boosters), sites: newKind(sites), decks: newKind(decks)}
	// A name begins with its kind, so equal messages of two kinds cannot meet.
	var all []proto.Message
	for _, item := range s.aircraft.sorted {
		all = append(all, item)
	}
	for _, item := range s.boosters.sorted {
		all = append(all, item)
	}
	for _, item := range s.sites.sorted {
		all = append(all, item)
	}
	for _, item := range s.decks.sorted {
		all = append(all, item)
	}
	s.revision = canonical.Digest(all...)[:revisionDigits]
	return s
}

// Revision is "sha256:" and 16 hexadecimal digits over the canonical form of
// everything in the snapshot, in the order of kinds and names.
func (s *Snapshot) Revision() string { return s.revision }

// Digest is the digest of a request.
func (s *Snapshot) Digest(messages ...proto.Message) string { return canonical.Digest(messages...) }

// AircraftType returns the type of a full name, "aircraftTypes/{id}".
func (s *Snapshot) AircraftType(name string) (*bowrollv1.AircraftType, bool) {
	t, ok := s.aircraft.byName[name]
	return t, ok
}

// AircraftTypes returns all types in the order of their names.
func (s *Snapshot) AircraftTypes() []*bowrollv1.AircraftType { return s.aircraft.sorted }

// AircraftTypeNames returns the full names of all types, in order.
func (s *Snapshot) AircraftTypeNames() []string { return s.aircraft.names() }

// BoosterType returns the type of a full name, "boosterTypes/{id}".
func (s *Snapshot) BoosterType(name string) (*bowrollv1.BoosterType, bool) {
	t, ok := s.boosters.byName[name]
	return t, ok
}

// BoosterTypes returns all types in the order of their names.
func (s *Snapshot) BoosterTypes() []*bowrollv1.BoosterType { return s.boosters.sorted }

// BoosterTypeNames returns the full names of all types, in order.
func (s *Snapshot) BoosterTypeNames() []string { return s.boosters.names() }

// Site returns the site of a full name, "sites/{id}".
func (s *Snapshot) Site(name string) (*bowrollv1.Site, bool) {
	site, ok := s.sites.byName[name]
	return site, ok
}

// Sites returns all sites in the order of their names.
func (s *Snapshot) Sites() []*bowrollv1.Site { return s.sites.sorted }

// SiteNames returns the full names of all sites, in order.
func (s *Snapshot) SiteNames() []string { return s.sites.names() }

// Deck returns the deck of a full name, "sites/{id}/decks/{id}".
func (s *Snapshot) Deck(name string) (*bowrollv1.Deck, bool) {
	d, ok := s.decks.byName[name]
	return d, ok
}

// Decks returns the decks of a site, "sites/{id}", in the order of their names.
func (s *Snapshot) Decks(site string) []*bowrollv1.Deck {
	var decks []*bowrollv1.Deck
	for _, d := range s.decks.sorted {
		if siteOf(d.GetName()) == site {
			decks = append(decks, d)
		}
	}
	return decks
}

// DeckNames returns the full names of all decks, in order.
func (s *Snapshot) DeckNames() []string { return s.decks.names() }
