package main

import (
	"errors"
	"fmt"
	"strings"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// sweepFile is a sweep that a file describes, and where it goes.
type sweepFile struct {
	File string `arg:"" help:"Sweep file (YAML); - reads it from standard input."`
	Site string `help:"Site that keeps it; that of the case's deck unless given." placeholder:"SITE"`
}

// read reads the file and says which site keeps the sweep.
func (f sweepFile) read(p *program) (asked *cycle.Sweep, index *cycle.Index, site string, err error) {
	source, err := p.read(f.File)
	if err != nil {
		return nil, nil, "", err
	}
	if asked, index, err = cycle.ReadSweep(f.File, source); err != nil {
		return nil, nil, "", err
	}
	site = f.Site
	if before, _, ok := strings.Cut(asked.Spec.GetCase().GetDeck(), "/decks/"); ok && site == "" {
		site = before
	}
	if site == "" {
		return nil, nil, "", badInput{errors.New("the case names no deck whose site could keep the sweep: say which does with --site")}
	}
	return asked, index, siteName(site), nil
}

type sweepEstimateCommand struct{ sweepFile }

func (c *sweepEstimateCommand) Run(p *program) error {
	asked, index, site, err := c.read(p)
	if err != nil {
		return err
	}
	if err := p.keeps(); err != nil {
		return err
	}
	_, err = ask(p, "estimating", func(to *client.Client) (*bowrollv1.SweepEstimate, error) {
		return to.Sweeps.EstimateSweep(p.ctx, &bowrollv1.EstimateSweepRequest{Parent: site, Spec: asked.Spec})
	}, sheet.SweepEstimate)
	if err != nil {
		return refused{err, index, "spec."}
	}
	return nil
}

type sweepStartCommand struct {
	sweepFile
	As    string `help:"Id of the sweep, e.g. winds; the file's own unless given." placeholder:"SWEEP"`
	Name  string `help:"Name for people; the file's own unless given." placeholder:"TEXT"`
	Watch bool   `help:"Wait until the service named with --server has computed it. Over a store of its own this program always does." xor:"wait"`
	Queue bool   `help:"Keep it and compute nothing yet: bowroll sweep watch does, or a service over the same store." xor:"wait"`
	workerFlags
	actFlags
}

func (*sweepStartCommand) Help() string {
	return `The sweep keeps the model and the revision of the catalog that hold now. With --store and no
service this program computes it until it is done. After Ctrl-C, a crash or a power cut
what was computed stays, and bowroll sweep watch goes on with the rest.`
}

func (c *sweepStartCommand) Run(p *program) error {
	asked, index, site, err := c.read(p)
	if err != nil {
		return err
	}
	id, name := c.As, c.Name
	if id == "" {
		id = asked.ID
	}
	if name == "" {
		name = asked.DisplayName
	}
	if id == "" {
		return badInput{errors.New("the sweep has no id: give one with --as, e.g. --as winds, or write id: winds into the file")}
	}
	waits := c.Watch || p.line.Server == "" && !c.Queue
	draw := sheet.Sweep
	if waits {
		draw = nil // the sweep is shown once it has ended
	}
	made, err := change(p, c.actFlags, "keeping the sweep", func(to *client.Client, request string) (*bowrollv1.Sweep, error) {
		return to.Sweeps.CreateSweep(p.ctx, &bowrollv1.CreateSweepRequest{
			Parent: site, SweepId: id, DisplayName: name, Spec: asked.Spec, Actor: c.Actor, RequestId: request,
		})
	}, draw)
	if err != nil {
		return refused{err, index, "spec."}
	}
	if !waits {
		return nil
	}
	if err := c.watch(p, made.GetName()); err != nil {
		return fmt.Errorf("%s is kept: %w", made.GetName(), err)
	}
	return nil
}
