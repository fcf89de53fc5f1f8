package board

import (
	"context"
	"net/http"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/gather"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// unitOutcomes are what may become of a unit at a launch, as forms name it.
var unitOutcomes = []struct {
	Name  string
	event bowrollv1.UnitEvent
}{
	{"expended", bowrollv1.UnitEvent_UNIT_EVENT_EXPEND}, {"misfired", bowrollv1.UnitEvent_UNIT_EVENT_MISFIRE},
	{"hung up", bowrollv1.UnitEvent_UNIT_EVENT_HANG_UP}, {"returned", bowrollv1.UnitEvent_UNIT_EVENT_RETURN},
}

// A fittedUnit is a booster unit of a sortie, of which a launch says what became.
type fittedUnit struct{ Unit, Lot, Station string }

// fitted are the booster units of a sortie; igniters have no outcome.
func (b *board) fitted(ctx context.Context, site string, s *bowrollv1.PlanSortie) ([]fittedUnit, error) {
	var units []fittedUnit
	for _, d := range s.GetDraws() {
		lot, err := b.to.Stock.GetLot(ctx, &bowrollv1.GetLotRequest{Name: site + "/lots/" + d.GetLot()})
		if err != nil {
			return nil, err
		}
		if lot.GetKind() != bowrollv1.LotKind_LOT_KIND_BOOSTER {
			continue
		}
		for i, unit := range d.GetUnits() {
			one := fittedUnit{Unit: unit, Lot: d.GetLot()}
			if i < len(d.GetStations()) {
				one.Station = d.GetStations()[i]
			}
			units = append(units, one)
		}
	}
	return units, nil
}

// sortieAndUnits reads a sortie of a kept plan and its booster units.
func (b *board) sortieAndUnits(ctx context.Context, plan, sortie string) (*bowrollv1.PlanSortie, []fittedUnit, error) {
	kept, err := b.to.Plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: plan})
	if err != nil {
		return nil, nil, err
	}
	s := gather.PlanSortie(kept, sortie)
	if s == nil {
		return nil, nil, &problem{Code: http.StatusNotFound, Title: "There is no such launch", Text: "Nothing of that name launches in this plan. Nothing was recorded."}
	}
	site, _, _ := strings.Cut(plan, "/plans/")
	units, err := b.fitted(ctx, site, s)
	return s, units, err
}

// launchPage asks what became of each unit of a sortie.
func (b *board) launchPage(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("plan")
	back := "/plans/" + site + "/" + id
	if !v.may(bowrollv1.Plans_RecordLaunch_FullMethodName, site) {
		return &problem{Code: http.StatusForbidden, Title: "You may not do this", Back: back, BackName: "Back to the plan",
			Text: "You are " + v.who.Name + " with " + strings.Join(grants(v), ", ") + ". Recording a launch needs the role planner at site " + site + "."}
	}
	s, units, err := b.sortieAndUnits(v.context(r.Context()), "sites/"+site+"/plans/"+id, r.PathValue("sortie"))
	if err != nil {
		return at(err, back, "Back to the plan")
	}
	return b.write(w, v, http.StatusOK, view{Page: "launch", Title: "Launch of " + s.GetId(), Data: struct {
		Site, Plan, Actor, Request string
		Sortie                     *bowrollv1.PlanSortie
		Units                      []fittedUnit
		Outcomes                   any
	}{site, id, v.who.Name, b.NewID() + b.NewID(), s, units, unitOutcomes}})
}

// launchRequest is a launch as its form says it.
func (b *board) launchRequest(ctx context.Context, r *http.Request, plan string) (*bowrollv1.RecordLaunchRequest, error) {
	when, err := instantForm(r, "launched", "Launched at")
	if err != nil {
		return nil, err
	}
	s, units, err := b.sortieAndUnits(ctx, plan, r.PostFormValue("sortie"))
	if err != nil {
		return nil, err
	}
	return launchForm(r, plan, s.GetId(), when, units)
}

// launchForm reads what became of each unit. None is taken to have fired that
// nothing is said of.
func launchForm(r *http.Request, plan, sortie string, when *timestamppb.Timestamp, units []fittedUnit) (*bowrollv1.RecordLaunchRequest, error) {
	asked := &bowrollv1.RecordLaunchRequest{Name: plan, Sortie: sortie, LaunchTime: when}
	var unsaid []string
	for _, u := range units {
		step := &bowrollv1.UnitStep{Unit: u.Unit, Reason: "launch"}
		for _, o := range unitOutcomes {
			if r.PostFormValue("outcome-"+u.Unit) == o.Name {
				step.Event = o.event
			}
		}
		if step.Event == bowrollv1.UnitEvent_UNIT_EVENT_UNSPECIFIED {
			unsaid = append(unsaid, u.Unit)
			continue
		}
		if note := strings.TrimSpace(r.PostFormValue("note-" + u.Unit)); note != "" {
			step.Reason = note
		}
		if step.Event != bowrollv1.UnitEvent_UNIT_EVENT_EXPEND {
			step.Place = strings.TrimSpace(r.PostFormValue("place-" + u.Unit))
		}
		asked.Outcomes = append(asked.Outcomes, step)
	}
	if len(unsaid) > 0 {
		return nil, &problem{Code: http.StatusUnprocessableEntity, Title: "What became of the units is not said", Text: "Choose expended, misfired, hung up or returned for " + strings.Join(unsaid, ", ") + ". Nothing was recorded."}
	}
	return asked, nil
}
