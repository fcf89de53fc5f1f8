package main

import (
	"io"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type planCommand struct {
	File      string   `arg:"" help:"Cycle file (YAML); - reads it from standard input."`
	Options   bool     `help:"In JSON, list every option that each sortie had."`
	Nodes     *int32   `help:"Most steps of the search for who gets the units; with fewer the plan may stay unproven." placeholder:"N"`
	Prices    bool     `help:"Say what one more pair of each lot, one more team and one more knot would buy; each is planned anew."`
	Misfire   []string `help:"Work a misfire of this sortie into the timeline, with its waiting time where the booster type states none, e.g. --misfire birch-2=\"15 min\"." placeholder:"SORTIE[=TIME]" sep:"none"`
	Keep      string   `help:"Earlier plan (JSON, as --format json writes it) to disturb as little as possible; says which cards are void." placeholder:"FILE"`
	KeepAfter *int32   `help:"Level of the objective after which keeping cards counts: 1 gives up units for it, 4 nothing." placeholder:"LEVEL"`
	ExportLP  string   `name:"export-lp" help:"Write each stage of the allocation into this folder, stage1.lp to stage4.lp, for any solver to check." placeholder:"FOLDER"`
	planPaper
}

func (*planCommand) Help() string {
	return `Draws the launches in order with run available, units and lot, firing, run, required
run, margin, least wind and the leg relied on if a unit fails; then what is held and
what would launch it, the work on deck, the stock after, and the cautions. Nothing is
reserved. A wide terminal shows more columns. Examples:

  bowroll plan testdata/cycles/dawn.yaml
  bowroll plan testdata/cycles/dawn.yaml --cards cards.pdf --valid-for "15 min" --sheet dawn.html
  bowroll plan testdata/cycles/dawn.yaml --export-lp stages`
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
	request := &bowrollv1.CyclesPlanRequest{
		Cycle: asked, NodeLimit: c.Nodes, IncludeOptions: c.Options,
		IncludeLp: c.ExportLP != "", IncludePrices: c.Prices, KeepAfter: c.KeepAfter,
	}
	if request.Misfires, err = misfires(c.Misfire); err != nil {
		return err
	}
	if request.Keep, err = p.earlier(c.Keep); err != nil {
		return err
	}
	report := newReport("planning " + count(len(asked.GetSorties()), "sortie"))
	report.several = c.Cards != "" || c.Sheet != ""
	plan, err := askTelling(p, report,
		func(to *client.Client) (*bowrollv1.CyclePlan, error) {
			plan, err := p.planStream(to, request, report)
			if err != nil {
				return nil, err
			}
			if err := exportLP(c.ExportLP, plan); err != nil {
				return nil, err
			}
			report.counted(0, 0)
			return plan, c.gather(p, to, asked, plan, c.Nodes, report)
		},
		func(w io.Writer, style sheet.Style, plan *bowrollv1.CyclePlan) error {
			return sheet.Plan(w, style, asked, plan)
		})
	if err != nil {
		return refused{err, index, "cycle."}
	}
	if err := c.write(p, asked, plan); err != nil {
		return err
	}
	if len(plan.GetLaunches()) == 0 {
		return errNothing
	}
	return nil
}
