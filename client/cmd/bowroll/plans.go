package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type plansCommand struct {
	List      plansListCommand      `cmd:"" help:"List the plans of a site."`
	Show      plansShowCommand      `cmd:"" help:"Show one plan: what became of each sortie, its units and its card."`
	Save      plansSaveCommand      `cmd:"" help:"Plan a cycle and keep the plan. Nothing is reserved."`
	Confirm   plansConfirmCommand   `cmd:"" help:"Reserve every unit that a plan needs, all or none."`
	Cancel    plansCancelCommand    `cmd:"" help:"Give a plan up; its reserved units go back to stock."`
	Waive     plansWaiveCommand     `cmd:"" help:"Record that a named person accepts one caution of a sortie, for a reason and until a time."`
	Revoke    plansRevokeCommand    `cmd:"" help:"End a waiver before its time; a card that says it is void with it."`
	Card      plansCardCommand      `cmd:"" help:"Issue the launch card of a sortie."`
	Recheck   plansRecheckCommand   `cmd:"" help:"Hold what is measured now against the cards that are out: which hold, which are void and by which side."`
	Recompute plansRecomputeCommand `cmd:"" help:"Compute a kept plan anew, and say whether it comes out the same."`
	Record    plansRecordCommand    `cmd:"" help:"Record that a sortie launched and what became of its units."`
	Scrub     plansScrubCommand     `cmd:"" help:"Take a sortie out of a confirmed plan."`
	Expire    plansExpireCommand    `cmd:"" help:"Return to stock what was reserved and not issued in time; a service does so by itself."`
}

func (*plansCommand) Help() string {
	return `A plan is named by its site and its id. Examples:

  bowroll --store varrow.db plans save testdata/cycles/dawn.yaml --as dawn-1 --actor quill
  bowroll --store varrow.db plans confirm varrow dawn-1 --hold-until "3 h" --actor quill
  bowroll --store varrow.db plans record varrow dawn-1 amber-1 --launched 2041-03-07T05:41:10Z \
    --rest expend --actor quill`
}

// planArgs name one plan.
type planArgs struct {
	Site string `arg:"" help:"Site, e.g. varrow."`
	Plan string `arg:"" help:"Plan, e.g. dawn-1."`
}

func (a planArgs) name() string { return childName(a.Site, "plans", a.Plan) }

type plansListCommand struct {
	Site  string `arg:"" help:"Site, e.g. varrow."`
	State string `help:"Plans in this state only: draft, confirmed, cancelled, expired or closed." placeholder:"STATE"`
}

func (c *plansListCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	var state *bowrollv1.PlanState
	if c.State != "" {
		value, ok := bowrollv1.PlanState_value["PLAN_STATE_"+strings.ToUpper(c.State)]
		if !ok || value == 0 {
			return badInput{fmt.Errorf("--state %q is no state of a plan: %s", c.State, enumWords(bowrollv1.PlanState(0).Descriptor()))}
		}
		state = bowrollv1.PlanState(value).Enum()
	}
	_, err := ask(p, "reading the plans", func(to *client.Client) (answer *bowrollv1.ListPlansResponse, err error) {
		answer = &bowrollv1.ListPlansResponse{}
		answer.Plans, err = pages(p.ctx, to.Plans.ListPlans, func(token string) *bowrollv1.ListPlansRequest {
			return &bowrollv1.ListPlansRequest{Parent: siteName(c.Site), State: state, PageSize: 200, PageToken: token}
		}, (*bowrollv1.ListPlansResponse).GetPlans, &answer.Provenance)
		return answer, err
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListPlansResponse) error {
		return sheet.Plans(w, style, siteName(c.Site), answer.GetPlans())
	})
	return err
}

type plansShowCommand struct {
	planArgs
	Answer bool `help:"Draw the plan as it was answered, as bowroll plan does."`
}

func (c *plansShowCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	_, err := ask(p, "reading the plan", func(to *client.Client) (*bowrollv1.Plan, error) {
		return to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
	}, func(w io.Writer, style sheet.Style, plan *bowrollv1.Plan) error {
		if c.Answer {
			return sheet.Plan(w, style, plan.GetCycle(), plan.GetAnswer())
		}
		return sheet.KeptPlan(w, style, plan)
	})
	return err
}

type plansSaveCommand struct {
	File string `arg:"" help:"Cycle file (YAML); - reads it from standard input."`
	As   string `help:"Id of the plan, e.g. dawn-1; the cycle's own unless given." placeholder:"PLAN"`
	Name string `help:"Name for people." placeholder:"TEXT"`
	actFlags
}

func (c *plansSaveCommand) Run(p *program) error {
	source, err := p.read(c.File)
	if err != nil {
		return err
	}
	asked, index, err := cycle.Read(c.File, source)
	if err != nil {
		return err
	}
	id, site := c.As, asked.GetDeck()
	if id == "" {
		id = asked.GetId()
	}
	if before, _, ok := strings.Cut(site, "/decks/"); ok {
		site = before
	}
	_, err = change(p, c.actFlags, "planning "+count(len(asked.GetSorties()), "sortie"), func(to *client.Client, request string) (*bowrollv1.Plan, error) {
		ctx, cancel := context.WithTimeout(p.ctx, p.line.Timeout)
		defer cancel()
		answer, err := to.Cycles.Plan(ctx, &bowrollv1.CyclesPlanRequest{Cycle: asked})
		if err != nil {
			return nil, err
		}
		return to.Plans.CreatePlan(ctx, &bowrollv1.CreatePlanRequest{
			Parent: siteName(site), PlanId: id, DisplayName: c.Name, Cycle: asked, Answer: answer, Actor: c.Actor, RequestId: request,
		})
	}, sheet.KeptPlan)
	if err != nil {
		return refused{err, index, "cycle."}
	}
	return nil
}

// changePlan changes a plan and shows it.
func (p *program) changePlan(f actFlags, what string, call func(to *client.Client, id string) (*bowrollv1.Plan, error)) error {
	_, err := change(p, f, what, call, sheet.KeptPlan)
	return err
}

type plansConfirmCommand struct {
	planArgs
	HoldUntil string `help:"When the reservations run out unless the units were issued by then: RFC 3339, or a time from now." placeholder:"TIME" required:""`
	Etag      string `help:"The etag under which the plan was read; refused where it has changed since. Read anew unless given." placeholder:"ETAG"`
	actFlags
}

func (c *plansConfirmCommand) Run(p *program) error {
	until, err := p.instant("--hold-until", c.HoldUntil)
	if err != nil {
		return err
	}
	return p.changePlan(c.actFlags, "reserving units", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		etag := c.Etag
		if etag == "" {
			plan, err := to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
			if err != nil {
				return nil, err
			}
			etag = plan.GetEtag()
			p.again = append(p.again, "--etag", etag)
		}
		return to.Plans.ConfirmPlan(p.ctx, &bowrollv1.ConfirmPlanRequest{
			Name: c.name(), Etag: etag, HoldUntilTime: until, Actor: c.Actor, RequestId: id,
		})
	})
}

type plansCancelCommand struct {
	planArgs
	Etag string `help:"The etag under which the plan was read; refused where it has changed since." placeholder:"ETAG"`
	reasonFlag
	actFlags
}

func (c *plansCancelCommand) Run(p *program) error {
	return p.changePlan(c.actFlags, "cancelling the plan", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		return to.Plans.CancelPlan(p.ctx, &bowrollv1.CancelPlanRequest{Name: c.name(), Etag: c.Etag, Reason: c.Reason, Actor: c.Actor, RequestId: id})
	})
}

type plansCardCommand struct {
	planArgs
	Sortie string `arg:"" help:"Sortie, e.g. amber-1."`
	Until  string `help:"When the card runs out: RFC 3339, or a time from now." placeholder:"TIME" required:""`
	actFlags
}

func (c *plansCardCommand) Run(p *program) error {
	until, err := p.instant("--until", c.Until)
	if err != nil {
		return err
	}
	return p.changePlan(c.actFlags, "issuing the card", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		return to.Plans.IssueCard(p.ctx, &bowrollv1.IssueCardRequest{Name: c.name(), Sortie: c.Sortie, UntilTime: until, Actor: c.Actor, RequestId: id})
	})
}

type plansScrubCommand struct {
	planArgs
	Sortie string `arg:"" help:"Sortie, e.g. amber-1."`
	reasonFlag
	actFlags
}

func (c *plansScrubCommand) Run(p *program) error {
	return p.changePlan(c.actFlags, "taking the sortie out", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		return to.Plans.ScrubSortie(p.ctx, &bowrollv1.ScrubSortieRequest{Name: c.name(), Sortie: c.Sortie, Reason: c.Reason, Actor: c.Actor, RequestId: id})
	})
}

type plansRecordCommand struct {
	planArgs
	Sortie   string            `arg:"" help:"Sortie, e.g. amber-1."`
	Launched string            `help:"When it launched (RFC 3339)." placeholder:"TIME" required:""`
	Outcome  map[string]string `help:"What became of a unit: expend, misfire, hang_up or return; may be given for each." placeholder:"UNIT=OUTCOME"`
	Rest     string            `help:"What became of the units of the sortie that no --outcome names." placeholder:"OUTCOME"`
	Place    string            `help:"Where units that did not fire are now." placeholder:"PLACE"`
	Reason   string            `help:"Why; \"launch\" unless given." placeholder:"TEXT" default:"launch" group:"Record"`
	actFlags
}

func (c *plansRecordCommand) Run(p *program) error {
	at, err := p.instant("--launched", c.Launched)
	if err != nil {
		return err
	}
	steps := map[string]*bowrollv1.UnitStep{}
	for unit, outcome := range c.Outcome {
		if steps[unit], err = c.step(unit, outcome); err != nil {
			return err
		}
	}
	return p.changePlan(c.actFlags, "recording the launch", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		if c.Rest != "" {
			if err := c.rest(p, to, steps); err != nil {
				return nil, err
			}
		}
		request := &bowrollv1.RecordLaunchRequest{Name: c.name(), Sortie: c.Sortie, LaunchTime: at, Actor: c.Actor, RequestId: id}
		units := make([]string, 0, len(steps))
		for unit := range steps {
			units = append(units, unit)
		}
		slices.Sort(units)
		for _, unit := range units {
			request.Outcomes = append(request.Outcomes, steps[unit])
		}
		return to.Plans.RecordLaunch(p.ctx, request)
	})
}

// step is what became of one unit.
func (c *plansRecordCommand) step(unit, outcome string) (*bowrollv1.UnitStep, error) {
	event, err := unitEvent(outcome)
	if err != nil {
		return nil, err
	}
	step := &bowrollv1.UnitStep{Unit: unit, Event: event, Reason: c.Reason}
	if event != bowrollv1.UnitEvent_UNIT_EVENT_EXPEND {
		step.Place = c.Place
	}
	return step, nil
}

// rest adds the units of the sortie that have no outcome yet. Igniters go with
// the units they are fitted to.
func (c *plansRecordCommand) rest(p *program, to *client.Client, steps map[string]*bowrollv1.UnitStep) error {
	plan, err := to.Plans.GetPlan(p.ctx, &bowrollv1.GetPlanRequest{Name: c.name()})
	if err != nil {
		return err
	}
	at := slices.IndexFunc(plan.GetSorties(), func(s *bowrollv1.PlanSortie) bool { return s.GetId() == c.Sortie })
	if at < 0 {
		return badInput{errors.New(c.name() + " has no sortie " + c.Sortie + " that launches")}
	}
	for _, draw := range plan.GetSorties()[at].GetDraws() {
		lot, err := to.Stock.GetLot(p.ctx, &bowrollv1.GetLotRequest{Name: childName(c.Site, "lots", draw.GetLot())})
		if err != nil {
			return err
		}
		for _, unit := range draw.GetUnits() {
			if steps[unit] == nil && lot.GetKind() == bowrollv1.LotKind_LOT_KIND_BOOSTER {
				if steps[unit], err = c.step(unit, c.Rest); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
