package rpc

import (
	"context"
	"strconv"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/page"
	"bowroll/server/refusal"
)

// Catalog answers the catalog service from one state of the catalog.
type Catalog struct {
	bowrollv1.UnimplementedCatalogServer
	snapshot *catalog.Snapshot
	kept     *KeptCatalog // nil where no store keeps the catalog
}

// NewCatalog returns the catalog service over a snapshot. Its requests have
// passed the contract's own rules before they come here.
func NewCatalog(snapshot *catalog.Snapshot) *Catalog {
	return &Catalog{snapshot: snapshot}
}

// Service returns the catalog service over a snapshot, which changes the catalog
// in the store.
func (k *KeptCatalog) Service(snapshot *catalog.Snapshot) *Catalog {
	return &Catalog{snapshot: snapshot, kept: k}
}

// GetAircraftType returns one aircraft type.
func (c *Catalog) GetAircraftType(_ context.Context, r *bowrollv1.GetAircraftTypeRequest) (*bowrollv1.AircraftType, error) {
	found, ok := c.snapshot.AircraftType(r.GetName())
	if !ok {
		return nil, unknownName("name", r.GetName(), c.snapshot.AircraftTypeNames())
	}
	return shown(found, c.snapshot, r), nil
}

// ListAircraftTypes returns a page of aircraft types in the order of their names.
func (c *Catalog) ListAircraftTypes(_ context.Context, r *bowrollv1.ListAircraftTypesRequest) (*bowrollv1.ListAircraftTypesResponse, error) {
	items, next, err := pageOf(c.snapshot, c.snapshot.AircraftTypes(), "aircraftTypes", r)
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ListAircraftTypesResponse{AircraftTypes: items, NextPageToken: next, Provenance: provenance(c.snapshot, r)}, nil
}

// GetBoosterType returns one booster type.
func (c *Catalog) GetBoosterType(_ context.Context, r *bowrollv1.GetBoosterTypeRequest) (*bowrollv1.BoosterType, error) {
	found, ok := c.snapshot.BoosterType(r.GetName())
	if !ok {
		return nil, unknownName("name", r.GetName(), c.snapshot.BoosterTypeNames())
	}
	return shown(found, c.snapshot, r), nil
}

// ListBoosterTypes returns a page of booster types in the order of their names.
func (c *Catalog) ListBoosterTypes(_ context.Context, r *bowrollv1.ListBoosterTypesRequest) (*bowrollv1.ListBoosterTypesResponse, error) {
	items, next, err := pageOf(c.snapshot, c.snapshot.BoosterTypes(), "boosterTypes", r)
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ListBoosterTypesResponse{BoosterTypes: items, NextPageToken: next, Provenance: provenance(c.snapshot, r)}, nil
}

// GetSite returns one site.
func (c *Catalog) GetSite(_ context.Context, r *bowrollv1.GetSiteRequest) (*bowrollv1.Site, error) {
	found, ok := c.snapshot.Site(r.GetName())
	if !ok {
		return nil, unknownName("name", r.GetName(), c.snapshot.SiteNames())
	}
	return shown(found, c.snapshot, r), nil
}

// ListSites returns a page of sites in the order of their names.
func (c *Catalog) ListSites(_ context.Context, r *bowrollv1.ListSitesRequest) (*bowrollv1.ListSitesResponse, error) {
	items, next, err := pageOf(c.snapshot, c.snapshot.Sites(), "sites", r)
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ListSitesResponse{Sites: items, NextPageToken: next, Provenance: provenance(c.snapshot, r)}, nil
}

// GetDeck returns one deck.
func (c *Catalog) GetDeck(_ context.Context, r *bowrollv1.GetDeckRequest) (*bowrollv1.Deck, error) {
	found, ok := c.snapshot.Deck(r.GetName())
	if !ok {
		return nil, unknownName("name", r.GetName(), c.snapshot.DeckNames())
	}
	return shown(found, c.snapshot, r), nil
}

// ListDecks returns a page of the decks of one site in the order of their names.
func (c *Catalog) ListDecks(_ context.Context, r *bowrollv1.ListDecksRequest) (*bowrollv1.ListDecksResponse, error) {
	if _, ok := c.snapshot.Site(r.GetParent()); !ok {
		return nil, unknownName("parent", r.GetParent(), c.snapshot.SiteNames())
	}
	items, next, err := pageOf(c.snapshot, c.snapshot.Decks(r.GetParent()), r.GetParent()+"/decks", r)
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ListDecksResponse{Decks: items, NextPageToken: next, Provenance: provenance(c.snapshot, r)}, nil
}

// pageOf cuts a page of resources, which are in the order of their names. The
// items carry their etags.
func pageOf[T thing](snapshot *catalog.Snapshot, sorted []T, list string, r interface {
	GetPageSize() int32
	GetPageToken() string
}) ([]T, string, error) {
	items, next, err := page.Of(sorted, func(item T) string { return item.GetName() }, page.Request{
		Size: r.GetPageSize(), Token: r.GetPageToken(), Filter: list, Snapshot: snapshot.Revision(),
	})
	if err != nil {
		return nil, "", badToken(r.GetPageToken(), err)
	}
	cut := make([]T, len(items))
	for i, item := range items {
		cut[i] = shown(item, snapshot)
	}
	return cut, next, nil
}

// badToken refuses a page token.
func badToken(token string, err error) error {
	return refusal.Invalid([]*bowrollv1.Violation{{
		Field: "page_token", Value: strconv.Quote(token), Rule: "page-token",
		Allowed: "the next_page_token of an earlier answer to the same request",
		Hint:    "it is " + err.Error() + ": ask for the first page again, without page_token",
	}})
}
