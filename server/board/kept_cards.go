package board

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"bowroll/client/gather"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// keptCards prints the cards of a kept plan as they were issued; those that hold
// no longer are stamped void.
func (b *board) keptCards(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("plan")
	back := "/plans/" + site + "/" + id
	ctx, cancel := context.WithTimeout(v.context(r.Context()), paperTime)
	defer cancel()
	plan, err := b.to.Plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: "sites/" + site + "/plans/" + id})
	if err != nil {
		return at(err, "/plans/"+site, "The plans of "+site)
	}
	sources, err := gather.KeptCards(ctx, b.to, plan, nil)
	if other := (*gather.ModelChanged)(nil); errors.As(err, &other) {
		return &problem{Code: http.StatusConflict, Title: "The model has changed since", Back: back, BackName: "Back to the plan",
			Text: fmt.Sprintf("The plan was made with version %s of the model and this service computes with %s. Print its cards with the program of that version, or keep the cycle as a new plan and issue its cards.", other.Then, other.Now)}
	} else if err != nil {
		return at(err, back, "Back to the plan")
	}
	issued, err := gather.Issued(ctx, b.to, plan, sources)
	if err != nil {
		return at(err, back, "Back to the plan")
	}
	doc := paper.Document{Title: "Launch cards: " + plan.GetName(), Dated: plan.GetCycle().GetStartTime().AsTime().UTC()}
	only := r.FormValue("sortie")
	for i, c := range issued {
		sortie := gather.PlanSortie(plan, sources[i].Launch.GetSortie())
		if sortie.GetCardRevision() == 0 || only != "" && sortie.GetId() != only {
			continue
		}
		doc.Pages = append(doc.Pages, c.Page(v.units))
	}
	if len(doc.Pages) == 0 {
		return &problem{Code: http.StatusNotFound, Title: "There is no card", Text: "None was issued for it.", Back: back, BackName: "Back to the plan"}
	}
	return printed(w, r, doc, "cards-"+id)
}
