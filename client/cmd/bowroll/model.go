package main

import (
	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type modelCommand struct {
	Version modelVersionCommand `cmd:"" default:"1" help:"Show the model's version, catalog revision and constants."`
	Check   modelCheckCommand   `cmd:"" help:"Compute the published checks, or a file of reference cases, and show the deviations."`
}

type modelVersionCommand struct{}

func (*modelVersionCommand) Run(p *program) error {
	_, err := ask(p, "asking for the model", func(to *client.Client) (*bowrollv1.ModelInfo, error) {
		return to.Model.GetModel(p.ctx, &bowrollv1.GetModelRequest{})
	}, sheet.Model)
	return err
}

type modelCheckCommand struct {
	Vectors string `help:"File of reference cases: a JSON list of {id, case, expect}." placeholder:"FILE"`
}

func (*modelCheckCommand) Help() string {
	return `The service computes the checks; this program only shows them. It exits with 1 where
a deviation is greater than allowed.`
}

func (c *modelCheckCommand) Run(p *program) error {
	if c.Vectors != "" {
		return c.vectors(p)
	}
	answer, err := ask(p, "computing the published checks", func(to *client.Client) (*bowrollv1.ModelCheckResponse, error) {
		return to.Model.Check(p.ctx, &bowrollv1.ModelCheckRequest{})
	}, sheet.Checks)
	if err == nil && answer.GetFailsCount() > 0 {
		return errNothing
	}
	return err
}

// vectors sends a file of reference cases to the service as it is: what it
// holds is the model's business.
func (c *modelCheckCommand) vectors(p *program) error {
	source, err := p.read(c.Vectors)
	if err != nil {
		return err
	}
	answer, err := ask(p, "computing the reference cases", func(to *client.Client) (*bowrollv1.ModelCheckVectorsResponse, error) {
		return to.Model.CheckVectors(p.ctx, &bowrollv1.ModelCheckVectorsRequest{VectorsJson: string(source)})
	}, sheet.Vectors)
	if err == nil && !answer.GetHolds() {
		return errNothing
	}
	return err
}
