package main

import (
	"io"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type plansRecomputeCommand struct {
	planArgs
	Revision string `help:"Revision of the catalog to compute with, e.g. the one that holds; the one that the plan pins unless given." placeholder:"REVISION"`
}

func (*plansRecomputeCommand) Help() string {
	return `Computes a kept plan anew with the model and the catalog that it pins, and compares it
with the answer that is kept. Exits with 1 where they differ.`
}

func (c *plansRecomputeCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	answer, err := ask(p, "computing the plan anew", func(to *client.Client) (*bowrollv1.RecomputePlanResponse, error) {
		return to.Plans.RecomputePlan(p.ctx, &bowrollv1.RecomputePlanRequest{Name: c.name(), CatalogRevision: c.Revision})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.RecomputePlanResponse) error {
		return sheet.Recomputed(w, style, c.name(), answer)
	})
	if err == nil && !answer.GetSame() {
		return errNothing
	}
	return err
}
