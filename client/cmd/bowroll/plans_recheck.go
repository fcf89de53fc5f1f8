package main

import (
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type plansRecheckCommand struct {
	planArgs
	Sortie    string `help:"The measured values are of this sortie, and its card alone is checked; of all unless given." placeholder:"SORTIE"`
	Headwind  string `help:"Credited headwind over the deck." placeholder:"QUANTITY" group:"Measured now"`
	Crosswind string `help:"Crosswind, from either side." placeholder:"QUANTITY" group:"Measured now"`
	Mass      string `help:"Mass without units." placeholder:"QUANTITY" group:"Measured now"`
	Air       string `help:"Air temperature." placeholder:"QUANTITY" group:"Measured now"`
	Grain     string `help:"Grain temperature." placeholder:"QUANTITY" group:"Measured now"`
	Spot      string `help:"How far the aircraft stands from its spot, along the axis." placeholder:"QUANTITY" group:"Measured now"`
	Void      bool   `help:"Void the cards that do not hold, for good. Needs --actor."`
	Actor     string `help:"Who acts, with --void. The log keeps it for good." placeholder:"NAME" env:"BOWROLL_ACTOR" group:"Record"`
	RequestID string `name:"request-id" help:"Id of this request, with --void. Made at random unless given." placeholder:"ID" group:"Record"`
}

func (*plansRecheckCommand) Help() string {
	return `A side of the box whose value is not given cannot be shown to hold, and its card is
void. Exits with 1 where a card that is out does not hold. Example:

  bowroll --store varrow.db plans recheck varrow dawn-1 --headwind "31 kt" --crosswind "4 kt" \
    --mass "10,400 lb" --air "17 degC" --grain "19 degC" --spot "0 m"`
}

func (c *plansRecheckCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	live, err := c.live()
	if err != nil {
		return err
	}
	request := &bowrollv1.RecheckPlanRequest{Name: c.name(), Inputs: []*bowrollv1.LiveInputs{live}}
	draw := func(w io.Writer, style sheet.Style, answer *bowrollv1.RecheckPlanResponse) error {
		return sheet.Rechecked(w, style, c.name(), c.Void, answer)
	}
	var answer *bowrollv1.RecheckPlanResponse
	if c.Void {
		if c.Actor == "" {
			return badInput{errors.New("--actor is missing: voiding a card names who does it")}
		}
		answer, err = change(p, actFlags{Actor: c.Actor, RequestID: c.RequestID}, "checking the cards", func(to *client.Client, id string) (*bowrollv1.RecheckPlanResponse, error) {
			request.VoidCards, request.Actor, request.RequestId = true, c.Actor, id
			return to.Plans.RecheckPlan(p.ctx, request)
		}, draw)
	} else {
		answer, err = ask(p, "checking the cards", func(to *client.Client) (*bowrollv1.RecheckPlanResponse, error) {
			return to.Plans.RecheckPlan(p.ctx, request)
		}, draw)
	}
	if err == nil && answer.GetVoidCount() > 0 {
		return errNothing
	}
	return err
}

// live reads what was measured, every fault at once.
func (c *plansRecheckCommand) live() (*bowrollv1.LiveInputs, error) {
	live := &bowrollv1.LiveInputs{Sortie: c.Sortie}
	var faults []error
	for _, q := range []struct {
		flag, text string
		dimension  quantity.Dimension
		into       **float64
	}{
		{"--headwind", c.Headwind, quantity.Speed, &live.HeadwindMps},
		{"--crosswind", c.Crosswind, quantity.Speed, &live.CrosswindMps},
		{"--mass", c.Mass, quantity.Mass, &live.GrossMassKg},
		{"--air", c.Air, quantity.Temperature, &live.TemperatureC},
		{"--grain", c.Grain, quantity.Temperature, &live.GrainTemperatureC},
		{"--spot", c.Spot, quantity.Length, &live.SpotOffsetM},
	} {
		if q.text == "" {
			continue
		}
		value, err := quantity.Parse(q.dimension, q.text)
		if err != nil {
			faults = append(faults, fmt.Errorf("%s %q: %w", q.flag, q.text, err))
			continue
		}
		*q.into = proto.Float64(value)
	}
	if len(faults) > 0 {
		return nil, badInput{errors.Join(faults...)}
	}
	return live, nil
}

type plansExpireCommand struct {
	Site string `arg:"" help:"Site, e.g. varrow."`
	actFlags
}

func (c *plansExpireCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "looking for what ran out", func(to *client.Client, id string) (*bowrollv1.ExpirePlansResponse, error) {
		return to.Plans.ExpirePlans(p.ctx, &bowrollv1.ExpirePlansRequest{Parent: siteName(c.Site), Actor: c.Actor, RequestId: id})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ExpirePlansResponse) error {
		return sheet.ExpiredPlans(w, style, siteName(c.Site), answer)
	})
	return err
}
