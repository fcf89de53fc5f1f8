package main

import (
	"fmt"
	"io"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type planCommand struct {
	File    string `arg:"" help:"Cycle file (YAML); - reads it from standard input."`
	Options bool   `help:"In JSON, list every option that each sortie had."`
	Nodes   *int32 `help:"Most search nodes to spend on the allocation." placeholder:"N"`
	planPaper
}

func (*planCommand) Help() string {
	return `Draws the launches in order with run available, units and lot, firing, run, required
run, margin, least wind and the leg relied on if a unit fails; then what is held and
what would launch it, the stock after, and the cautions. Nothing is reserved.
A wide terminal shows more columns. Example:

  bowroll plan testdata/cycles/dawn.yaml`
}

func (c *planCommand) Run(p *program) error {
	if err := c.check(); err != nil {
		return err
	}
	source, err := p.read(c.File)
	if err != nil {
		return err
	}
	asked, index, err := cycle.Read(c.File, source)
	if err != nil {
		return err
	}
	request := &bowrollv1.CyclesPlanRequest{Cycle: asked, NodeLimit: c.Nodes, IncludeOptions: c.Options || p.line.Format == "table"}
	plan, err := ask(p, fmt.Sprintf("planning %s", count(len(asked.GetSorties()), "sortie")),
		func(to *client.Client) (*bowrollv1.CyclePlan, error) {
			plan, err := to.Cycles.Plan(p.ctx, request)
			if err != nil {
				return nil, err
			}
			return plan, c.gather(p, to, asked, plan, c.Nodes)
		},
		func(w io.Writer, style sheet.Style, plan *bowrollv1.CyclePlan) error {
			return sheet.Plan(w, style, asked, plan)
		})
	switch {
	case err != nil:
		return refused{err, index, "cycle."}
	}
	if err := c.write(p, asked, plan); err != nil {
		return err
	}
	switch {
	case len(plan.GetLaunches()) == 0:
		return errNothing
	}
	return nil
}
