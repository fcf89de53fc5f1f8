package gather

import (
	"context"
	"fmt"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet/card"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// ModelChanged says that a service computes with another version of the model than
// a kept plan was made with, so that its cards cannot be computed there.
type ModelChanged struct {
	Plan      string // name of the plan
	Then, Now string // versions of the model
}

// Error says what to do about it as well.
func (m *ModelChanged) Error() string {
	return fmt.Sprintf("%s was planned with version %s of the model and this service computes with %s: print its cards with the program of that version, or save the cycle as a new plan and issue its cards", m.Plan, m.Then, m.Now)
}

// KeptCards asks for everything that the cards of a plan that is kept say, computed
// with the revision of the catalog that the plan pins. Where another one is in
// force since, each card is told, with what it uses of it that differs. Spent units
// are dropped as given; nil leaves the drop zone out.
//
// The mark of a check is put at a whole number of trade units whatever the cards
// are read in, so that a card has one digest.
func KeptCards(ctx context.Context, to *client.Client, plan *bowrollv1.Plan, drops *bowrollv1.UnitRelease) ([]card.Sources, error) {
	model, err := to.Model.GetModel(ctx, &bowrollv1.GetModelRequest{})
	if err != nil {
		return nil, err
	}
	pinned, now := plan.GetPinned(), model.GetProvenance()
	if then := pinned.GetModelVersion(); then != now.GetModelVersion() {
		return nil, &ModelChanged{plan.GetName(), then, now.GetModelVersion()}
	}
	if pinned.GetCatalogRevision() == now.GetCatalogRevision() {
		return cards(ctx, newLibrary(to), plan.GetCycle(), plan.GetAnswer(), quantity.Trade, drops)
	}
	library, err := libraryAt(ctx, to, pinned.GetCatalogRevision())
	if err != nil {
		return nil, err
	}
	list, err := cards(ctx, library, plan.GetCycle(), plan.GetAnswer(), quantity.Trade, drops)
	if err != nil {
		return nil, err
	}
	diff, err := to.Catalog.DiffCatalog(ctx, &bowrollv1.DiffCatalogRequest{FromRevision: pinned.GetCatalogRevision(), ToRevision: now.GetCatalogRevision()})
	if err != nil {
		return nil, err
	}
	for i := range list {
		list[i].Since = &card.Since{Revision: now.GetCatalogRevision(), Changed: changed(list[i], diff)}
	}
	return list, nil
}

// changed are the resources that a launch uses and that differ, in the order of
// the difference.
func changed(s card.Sources, diff *bowrollv1.CatalogDiff) []string {
	uses := map[string]bool{siteOf(s.Deck): true, s.Deck.GetName(): true, s.Aircraft.GetName(): true}
	for _, b := range s.Boosters {
		uses[b.GetName()] = true
	}
	list := []string{}
	for _, d := range diff.GetChanges() {
		if uses[d.GetName()] {
			list = append(list, d.GetName())
		}
	}
	return list
}

// siteOf is the site that a deck belongs to.
func siteOf(d *bowrollv1.Deck) string {
	site, _, _ := strings.Cut(d.GetName(), "/decks/")
	return site
}
