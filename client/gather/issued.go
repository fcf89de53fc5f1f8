package gather

import (
	"context"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet/card"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// PlanSortie finds a sortie of a plan that is kept; nil where it does not launch.
func PlanSortie(plan *bowrollv1.Plan, id string) *bowrollv1.PlanSortie {
	for _, s := range plan.GetSorties() {
		if s.GetId() == id {
			return s
		}
	}
	return nil
}

// Issued makes the cards of a plan that is kept from what [Cards] gathered, as
// they were issued: those that hold, those that are void, and for a sortie without
// one a card that is refused.
func Issued(ctx context.Context, to *client.Client, plan *bowrollv1.Plan, sources []card.Sources) ([]card.Card, error) {
	issues, err := issues(ctx, to, plan.GetName())
	if err != nil {
		return nil, err
	}
	cards := make([]card.Card, 0, len(sources))
	for _, s := range sources {
		kept := PlanSortie(plan, s.Launch.GetSortie())
		issue := card.Issue{Kept: &card.Kept{Plan: plan, Sortie: kept}}
		if revision := int(kept.GetCardRevision()); revision > 0 {
			issue.Revision = &revision
		}
		if m := issues[kept.GetId()]; m != nil {
			at := m.GetTime().AsTime().UTC()
			issue.At, issue.By = &at, m.GetActor()
		}
		one, err := card.Build(s, issue)
		if err != nil {
			return nil, err
		}
		cards = append(cards, one)
	}
	return cards, nil
}

// issues reads from the log the latest issue of a card for each sortie of a plan.
func issues(ctx context.Context, to *client.Client, plan string) (map[string]*bowrollv1.Movement, error) {
	site, id, _ := strings.Cut(plan, "/plans/")
	latest, after := map[string]*bowrollv1.Movement{}, int32(0)
	for {
		page, err := to.Stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: site, Plan: id, AfterSequence: after, PageSize: 1000})
		if err != nil {
			return nil, err
		}
		for _, m := range page.GetMovements() {
			after = m.GetSequence()
			if m.GetEvent() == "issue_card" {
				latest[m.GetSortie()] = m
			}
		}
		if page.GetComplete() || len(page.GetMovements()) == 0 {
			return latest, nil
		}
	}
}
