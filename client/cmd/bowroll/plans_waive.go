package main

import (
	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// waiverArgs name the caution of one sortie.
type waiverArgs struct {
	planArgs
	Sortie  string `arg:"" help:"Sortie, e.g. amber-1."`
	Caution string `arg:"" help:"Code of the caution, e.g. tailwind."`
}

type plansWaiveCommand struct {
	waiverArgs
	Authority string `help:"The person who accepts the caution. Without a name there is no waiver." placeholder:"NAME" required:""`
	Until     string `help:"When the acceptance ends: RFC 3339, or a time from now." placeholder:"TIME" required:""`
	reasonFlag
	actFlags
}

func (*plansWaiveCommand) Help() string {
	return `A waiver changes no number and no verdict, and permits nothing that is refused without
it: refusals are never waived. A card issued while it is in force says it beside the
caution, and ends no later. A code that the launch does not raise is refused with
those that it does. Example:

  bowroll --store varrow.db plans waive varrow dawn-1 cedar-1 burn-out-in-rotation \
    --authority "R. Holm, flying officer" --until "90 min" --reason "flown so before" --actor quill`
}

func (c *plansWaiveCommand) Run(p *program) error {
	until, err := p.instant("--until", c.Until)
	if err != nil {
		return err
	}
	return p.changePlan(c.actFlags, "recording the waiver", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		return to.Plans.RecordWaiver(p.ctx, &bowrollv1.RecordWaiverRequest{
			Name: c.name(), Sortie: c.Sortie, Caution: c.Caution, Authority: c.Authority, Reason: c.Reason, UntilTime: until,
			Actor: c.Actor, RequestId: id,
		})
	})
}

type plansRevokeCommand struct {
	waiverArgs
	reasonFlag
	actFlags
}

func (c *plansRevokeCommand) Run(p *program) error {
	return p.changePlan(c.actFlags, "revoking the waiver", func(to *client.Client, id string) (*bowrollv1.Plan, error) {
		return to.Plans.RevokeWaiver(p.ctx, &bowrollv1.RevokeWaiverRequest{
			Name: c.name(), Sortie: c.Sortie, Caution: c.Caution, Reason: c.Reason, Actor: c.Actor, RequestId: id,
		})
	})
}
