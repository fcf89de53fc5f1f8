package board

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// keepPlan keeps a plan that was just answered.
func (b *board) keepPlan(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	j, plan, err := b.answered(r, v)
	if err != nil {
		return err
	}
	site := siteOf(j.asked.GetDeck())
	kept, err := b.to.Plans.CreatePlan(v.context(r.Context()), &bowrollv1.CreatePlanRequest{
		Parent: "sites/" + site, PlanId: r.PostFormValue("plan_id"), DisplayName: j.asked.GetDisplayName(), Cycle: j.asked, Answer: plan,
		Actor: actor(r, v), RequestId: r.PostFormValue("request_id"),
	})
	if err != nil {
		return at(err, "/cycle/"+j.id, "Back to the plan")
	}
	http.Redirect(w, r, "/plans/"+site+"/"+short(kept.GetName()), http.StatusSeeOther)
	return nil
}

// actor is who acts: whoever signed in, else who the form says.
func actor(r *http.Request, v *visitor) string {
	if v.who.Name != "" {
		return v.who.Name
	}
	return strings.TrimSpace(r.PostFormValue("actor"))
}

// at says where to go on after an error.
func at(err error, back, name string) error {
	p := *problemOf(err)
	p.Back, p.BackName = back, name
	return &p
}

// An act is one thing that is done to a kept plan. Each form carries the id of its
// request: sent twice it is done once.
type act func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error

var acts = map[string]act{
	"confirm": func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
		until, err := instantForm(r, "hold_until", "Reserved until")
		if err != nil {
			return err
		}
		_, err = b.to.Plans.ConfirmPlan(ctx, &bowrollv1.ConfirmPlanRequest{Name: name, Etag: r.PostFormValue("etag"), HoldUntilTime: until, Actor: actor, RequestId: request})
		return err
	},
	"cancel": func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
		_, err := b.to.Plans.CancelPlan(ctx, &bowrollv1.CancelPlanRequest{Name: name, Etag: r.PostFormValue("etag"), Reason: r.PostFormValue("reason"), Actor: actor, RequestId: request})
		return err
	},
	"card": func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
		until, err := instantForm(r, "until", "Card until")
		if err != nil {
			return err
		}
		_, err = b.to.Plans.IssueCard(ctx, &bowrollv1.IssueCardRequest{Name: name, Sortie: r.PostFormValue("sortie"), UntilTime: until, Actor: actor, RequestId: request})
		return err
	},
	"waive":  waive,
	"revoke": revoke,
	"scrub": func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
		_, err := b.to.Plans.ScrubSortie(ctx, &bowrollv1.ScrubSortieRequest{Name: name, Sortie: r.PostFormValue("sortie"), Reason: r.PostFormValue("reason"), Actor: actor, RequestId: request})
		return err
	},
	"record": func(ctx context.Context, b *board, r *http.Request, name, actor, request string) error {
		asked, err := b.launchRequest(ctx, r, name)
		if err != nil {
			return err
		}
		asked.Actor, asked.RequestId = actor, request
		_, err = b.to.Plans.RecordLaunch(ctx, asked)
		return err
	},
}

// methods are what each act calls.
var methods = map[string]string{
	"confirm": bowrollv1.Plans_ConfirmPlan_FullMethodName, "cancel": bowrollv1.Plans_CancelPlan_FullMethodName,
	"card": bowrollv1.Plans_IssueCard_FullMethodName, "scrub": bowrollv1.Plans_ScrubSortie_FullMethodName,
	"record": bowrollv1.Plans_RecordLaunch_FullMethodName, "recheck": bowrollv1.Plans_RecheckPlan_FullMethodName,
	"waive": bowrollv1.Plans_RecordWaiver_FullMethodName, "revoke": bowrollv1.Plans_RevokeWaiver_FullMethodName,
	"recompute": bowrollv1.Plans_RecomputePlan_FullMethodName,
}

// act does one thing to a kept plan.
func (b *board) act(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id, what := r.PathValue("site"), r.PathValue("plan"), r.PathValue("act")
	back := "/plans/" + site + "/" + id
	method, known := methods[what]
	if !known {
		return &problem{Code: http.StatusNotFound, Title: "There is no such page", Text: "The address leads nowhere on this board.", Back: back, BackName: "The plan"}
	}
	ctx, name := v.context(r.Context()), "sites/"+site+"/plans/"+id
	switch what {
	case "recheck":
		return b.recheck(w, r, v, site, id)
	case "recompute":
		return b.recompute(w, r, v, site, id)
	}
	if err := acts[what](ctx, b, r, name, actor(r, v), r.PostFormValue("request_id")); err != nil {
		p := at(err, back, "Back to the plan as it is now").(*problem)
		if what == "record" && p.Code == http.StatusUnprocessableEntity {
			p.Back, p.BackName = back+"/launch/"+url.PathEscape(r.PostFormValue("sortie")), "Back to the record of the launch"
		}
		if p.Code == http.StatusForbidden {
			p.Text += " You are " + v.who.Name + " with " + strings.Join(grants(v), ", ") + "; " + strings.TrimPrefix(method, "/bowroll.v1.") + " was not called."
		}
		return p
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}

// instantForm reads an instant: RFC 3339, with or without its seconds.
func instantForm(r *http.Request, field, label string) (*timestamppb.Timestamp, error) {
	at, err := parseInstant(r.PostFormValue(field))
	if err != nil {
		return nil, &problem{Code: http.StatusUnprocessableEntity, Title: label + " cannot be read", Text: err.Error()}
	}
	return timestamppb.New(at), nil
}

// parseInstant reads an instant with its offset.
func parseInstant(text string) (time.Time, error) {
	text = strings.TrimSpace(text)
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04Z07:00", "2006-01-02 15:04Z07:00"} {
		if at, err := time.Parse(form, text); err == nil && timestamppb.New(at).CheckValid() == nil {
			return at, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is no instant: write the day, the time and Z or an offset, e.g. 2041-03-07T05:30Z; nothing was done", text)
}

// liveFields are what is measured now, by the name of the form's field.
var liveFields = []struct {
	Name, Label, Example string
	dimension            quantity.Dimension
	set                  func(*bowrollv1.LiveInputs, *float64)
}{
	{"headwind", "Headwind, credited", "24 kt", quantity.Speed, func(l *bowrollv1.LiveInputs, v *float64) { l.HeadwindMps = v }},
	{"crosswind", "Crosswind", "3 kt", quantity.Speed, func(l *bowrollv1.LiveInputs, v *float64) { l.CrosswindMps = v }},
	{"temperature", "Air", "88 degF", quantity.Temperature, func(l *bowrollv1.LiveInputs, v *float64) { l.TemperatureC = v }},
	{"grain", "Grain", "70 degF", quantity.Temperature, func(l *bowrollv1.LiveInputs, v *float64) { l.GrainTemperatureC = v }},
	{"mass", "Mass without units", "14,200 lb", quantity.Mass, func(l *bowrollv1.LiveInputs, v *float64) { l.GrossMassKg = v }},
	{"spot", "Off its spot", "0 ft", quantity.Length, func(l *bowrollv1.LiveInputs, v *float64) { l.SpotOffsetM = v }},
}

// liveForm reads what is measured now; a blank stays absent.
func liveForm(r *http.Request) (*bowrollv1.LiveInputs, error) {
	live := &bowrollv1.LiveInputs{Sortie: r.PostFormValue("sortie")}
	for _, f := range liveFields {
		text := strings.TrimSpace(r.PostFormValue(f.Name))
		if text == "" {
			continue
		}
		value, err := quantity.Parse(f.dimension, text)
		if err != nil {
			return nil, &problem{Code: http.StatusUnprocessableEntity, Title: f.Label + " cannot be read", Text: sentence(err.Error()) + " Write it with its unit, e.g. " + f.Example + ". Nothing was done."}
		}
		f.set(live, &value)
	}
	return live, nil
}

// recheck holds what is measured now against the cards that are out, and voids
// those that do not hold where that is asked.
func (b *board) recheck(w http.ResponseWriter, r *http.Request, v *visitor, site, id string) error {
	back := "/plans/" + site + "/" + id
	live, err := liveForm(r)
	if err != nil {
		return at(err, back, "Back to the plan")
	}
	ctx, name := v.context(r.Context()), "sites/"+site+"/plans/"+id
	asked := &bowrollv1.RecheckPlanRequest{Name: name, Inputs: []*bowrollv1.LiveInputs{live}}
	if r.PostFormValue("void") != "" {
		asked.VoidCards, asked.Actor, asked.RequestId = true, actor(r, v), r.PostFormValue("request_id")
	}
	checked, err := b.to.Plans.RecheckPlan(ctx, asked)
	if err != nil {
		return at(err, back, "Back to the plan")
	}
	plan, err := b.to.Plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: name})
	if err != nil {
		return err
	}
	inputs := map[string]string{}
	for _, f := range liveFields {
		inputs[f.Name] = r.PostFormValue(f.Name)
	}
	return b.showKept(w, v, plan, keptView{Site: site, Plan: id, Checked: checked, Inputs: inputs})
}

// recompute computes a kept plan anew and says whether it comes out the same.
func (b *board) recompute(w http.ResponseWriter, r *http.Request, v *visitor, site, id string) error {
	ctx, name := v.context(r.Context()), "sites/"+site+"/plans/"+id
	again, err := b.to.Plans.RecomputePlan(ctx, &bowrollv1.RecomputePlanRequest{Name: name})
	if err != nil {
		return at(err, "/plans/"+site+"/"+id, "Back to the plan")
	}
	plan, err := b.to.Plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: name})
	if err != nil {
		return err
	}
	return b.showKept(w, v, plan, keptView{Site: site, Plan: id, Again: again})
}
