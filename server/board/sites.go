package board

import (
	"net/http"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// mostPages bounds how many pages of a list are read for one page of the board.
const mostPages = 20

// gone is said of plans and stock where the service keeps none.
func (b *board) keeps() error {
	if b.Keeps {
		return nil
	}
	return &problem{Code: http.StatusNotFound, Title: "This service keeps no stock and plans", Text: "It was started without a store. Whoever runs bowrolld gives it one with --store."}
}

// sites reads the sites that the visitor may call a method at.
func (b *board) sites(r *http.Request, v *visitor, method string) ([]*bowrollv1.Site, *bowrollv1.Provenance, error) {
	answer, err := b.to.Catalog.ListSites(v.context(r.Context()), &bowrollv1.ListSitesRequest{PageSize: 200})
	if err != nil {
		return nil, nil, err
	}
	var mine []*bowrollv1.Site
	for _, s := range answer.GetSites() {
		if v.may(method, short(s.GetName())) {
			mine = append(mine, s)
		}
	}
	return mine, answer.GetProvenance(), nil
}

// choose shows the sites that there is something to see of.
func (b *board) choose(w http.ResponseWriter, r *http.Request, v *visitor, title, to, method string) error {
	if err := b.keeps(); err != nil {
		return err
	}
	sites, from, err := b.sites(r, v, method)
	if err != nil {
		return err
	}
	return b.write(w, v, http.StatusOK, view{Page: "sites", Title: title, From: from, Data: struct {
		To    string
		Sites []*bowrollv1.Site
	}{to, sites}})
}

func (b *board) sitesOfPlans(w http.ResponseWriter, r *http.Request, v *visitor) error {
	return b.choose(w, r, v, "Plans that are kept", "/plans/", bowrollv1.Plans_ListPlans_FullMethodName)
}

func (b *board) sitesOfStock(w http.ResponseWriter, r *http.Request, v *visitor) error {
	return b.choose(w, r, v, "Stock", "/stock/", bowrollv1.Stock_ListLots_FullMethodName)
}
