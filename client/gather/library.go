package gather

import (
	"context"
	"fmt"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A library asks for each resource of the catalog once: as it is in force, or as
// it was at an earlier revision.
type library struct {
	to       *client.Client
	revision string // empty for the catalog in force
	decks    map[string]*bowrollv1.Deck
	aircraft map[string]*bowrollv1.AircraftType
	boosters map[string]*bowrollv1.BoosterType
}

func newLibrary(to *client.Client) *library {
	return &library{to: to, decks: map[string]*bowrollv1.Deck{}, aircraft: map[string]*bowrollv1.AircraftType{}, boosters: map[string]*bowrollv1.BoosterType{}}
}

// libraryAt is the catalog as it was at a revision, asked for whole.
func libraryAt(ctx context.Context, to *client.Client, revision string) (*library, error) {
	answer, err := to.Catalog.ExportCatalog(ctx, &bowrollv1.ExportCatalogRequest{Revision: revision})
	if err != nil {
		return nil, err
	}
	l := newLibrary(to)
	l.revision = revision
	for _, d := range answer.GetContents().GetDecks() {
		l.decks[d.GetName()] = d
	}
	for _, t := range answer.GetContents().GetAircraftTypes() {
		l.aircraft[t.GetName()] = t
	}
	for _, t := range answer.GetContents().GetBoosterTypes() {
		l.boosters[t.GetName()] = t
	}
	return l, nil
}

func (l *library) deckOf(ctx context.Context, c *bowrollv1.Cycle) (*bowrollv1.Deck, error) {
	return find(l, l.decks, c.GetDeck(), func() (*bowrollv1.Deck, error) {
		return l.to.Catalog.GetDeck(ctx, &bowrollv1.GetDeckRequest{Name: c.GetDeck()})
	})
}

func (l *library) aircraftOf(ctx context.Context, s *bowrollv1.Sortie) (*bowrollv1.AircraftType, error) {
	if s.GetAircraftType() == "" {
		return s.GetAircraft(), nil
	}
	return find(l, l.aircraft, s.GetAircraftType(), func() (*bowrollv1.AircraftType, error) {
		return l.to.Catalog.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: s.GetAircraftType()})
	})
}

func (l *library) boosterOf(ctx context.Context, lot *bowrollv1.Lot) (*bowrollv1.BoosterType, error) {
	if lot.GetBoosterType() == "" {
		return lot.GetType(), nil
	}
	return find(l, l.boosters, lot.GetBoosterType(), func() (*bowrollv1.BoosterType, error) {
		return l.to.Catalog.GetBoosterType(ctx, &bowrollv1.GetBoosterTypeRequest{Name: lot.GetBoosterType()})
	})
}

// find returns what is known under a name, or asks the catalog in force for it.
func find[T any](l *library, known map[string]*T, name string, ask func() (*T, error)) (*T, error) {
	if found := known[name]; found != nil {
		return found, nil
	}
	if l.revision != "" {
		return nil, fmt.Errorf("catalog %s has no %s", l.revision, name)
	}
	found, err := ask()
	if err == nil {
		known[name] = found
	}
	return found, err
}
