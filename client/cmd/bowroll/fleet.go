package main

import (
	"context"
	"io"
	"slices"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type fleetCommand struct {
	File     string `arg:"" help:"Fleet file (YAML): id, cycles, pools, transfers; - reads it from standard input."`
	Options  bool   `help:"In JSON, list every option that each sortie had."`
	Nodes    *int32 `help:"Most steps of the search for who gets the units; with fewer the plan may stay unproven." placeholder:"N"`
	ExportLP string `name:"export-lp" help:"Write each stage of the allocation into this folder, stage1.lp to stage4.lp." placeholder:"FOLDER"`
}

func (*fleetCommand) Help() string {
	return `Plans the cycles of several decks at once, which may draw on each other's lots and on
shared pools as far as transfers bring them. Example:

  bowroll fleet testdata/fleets/northern.yaml`
}

func (c *fleetCommand) Run(p *program) error {
	source, err := p.read(c.File)
	if err != nil {
		return err
	}
	document, err := cycle.Parse(c.File, source)
	if err != nil {
		return err
	}
	fleet := &bowrollv1.Fleet{}
	index, err := document.Decode(fleet)
	if err != nil {
		return err
	}
	request := &bowrollv1.CyclesPlanFleetRequest{
		Fleet: fleet, NodeLimit: c.Nodes, IncludeOptions: c.Options, IncludeLp: c.ExportLP != "",
	}
	plan, err := ask(p, "planning "+count(len(fleet.GetCycles()), "cycle"),
		func(to *client.Client) (*bowrollv1.FleetPlan, error) {
			ctx, cancel := context.WithTimeout(p.ctx, p.line.Timeout)
			defer cancel()
			plan, err := to.Cycles.PlanFleet(ctx, request)
			if err != nil {
				return nil, err
			}
			return plan, exportLP(c.ExportLP, plan)
		},
		func(w io.Writer, style sheet.Style, plan *bowrollv1.FleetPlan) error {
			return sheet.Fleet(w, style, fleet, plan)
		})
	switch {
	case err != nil:
		return refused{err, index, "fleet."}
	case !slices.ContainsFunc(plan.GetPlans(), func(c *bowrollv1.CyclePlan) bool { return len(c.GetLaunches()) > 0 }):
		return errNothing
	}
	return nil
}
