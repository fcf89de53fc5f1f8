package main

import (
	"fmt"
	"io"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type sweepCommand struct {
	Estimate sweepEstimateCommand `cmd:"" help:"Say what a sweep would take: rows, bytes, processor time. Keeps nothing."`
	Start    sweepStartCommand    `cmd:"" help:"Keep a sweep and compute it; over a file or database of its own this program does the computing."`
	List     sweepListCommand     `cmd:"" help:"List the sweeps of a site and how far each is."`
	Show     sweepShowCommand     `cmd:"" help:"Show one sweep: what it computes, how far it is, the time left."`
	Watch    sweepWatchCommand    `cmd:"" help:"Go on with a sweep, or wait for the service that computes it, until it has ended."`
	Read     sweepReadCommand     `cmd:"" help:"Write rows into a file: NDJSON, CSV or Parquet, checked against its sum."`
	Cancel   sweepCancelCommand   `cmd:"" help:"End a sweep. The rows that are done stay and can be read."`
	Delete   sweepDeleteCommand   `cmd:"" help:"Remove a sweep that has ended, with its rows."`
}

func (*sweepCommand) Help() string {
	return `A sweep answers one take-off many times over: every combination of some values (a grid), or
so many draws from distributions (a sample). Its file names a case, what varies and how:

  case: {aircraft_type: corvane, flap: takeoff, air: {pressure: 29.92 inHg},
    deck: sites/varrow/decks/main, spot: s6}
  axes:
    - {field: gross_mass, from: "12,000 lb", to: "14,000 lb", count: 21}
    - {field: air.temperature, values: [59 degF, 77 degF, 95 degF]}
    - {field: headwind, from: 0 kt, to: 30 kt, count: 31}
  method: grid

A sample has method: latin-hypercube or random, rows, a seed, and may draw an axis:
{field: headwind, distribution: normal, least: 5 kt, greatest: 35 kt, middle: 20 kt, sigma: 4 kt}.
Examples:

  bowroll --store varrow.db sweep estimate testdata/sweeps/winds.yaml
  bowroll --store varrow.db sweep start testdata/sweeps/winds.yaml --actor quill
  bowroll --store varrow.db sweep watch varrow winds        # goes on after a stop
  bowroll --store varrow.db sweep read varrow winds winds.parquet`
}

// sweepArgs name one sweep.
type sweepArgs struct {
	Site  string `arg:"" help:"Site, e.g. varrow."`
	Sweep string `arg:"" help:"Sweep, e.g. winds."`
}

func (a sweepArgs) name() string { return childName(a.Site, "sweeps", a.Sweep) }

type sweepListCommand struct {
	Site  string `arg:"" help:"Site, e.g. varrow."`
	State string `help:"Sweeps in this state only: queued, running, done, cancelled or failed." placeholder:"STATE"`
}

func (c *sweepListCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	var state *bowrollv1.SweepState
	if c.State != "" {
		value, ok := bowrollv1.SweepState_value["SWEEP_STATE_"+strings.ToUpper(c.State)]
		if !ok || value == 0 {
			return badInput{fmt.Errorf("--state %q is no state of a sweep: %s", c.State, enumWords(bowrollv1.SweepState(0).Descriptor()))}
		}
		state = bowrollv1.SweepState(value).Enum()
	}
	_, err := ask(p, "reading the sweeps", func(to *client.Client) (answer *bowrollv1.ListSweepsResponse, err error) {
		answer = &bowrollv1.ListSweepsResponse{}
		answer.Sweeps, err = pages(p.ctx, to.Sweeps.ListSweeps, func(token string) *bowrollv1.ListSweepsRequest {
			return &bowrollv1.ListSweepsRequest{Parent: siteName(c.Site), State: state, PageSize: 200, PageToken: token}
		}, (*bowrollv1.ListSweepsResponse).GetSweeps, &answer.Provenance)
		return answer, err
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListSweepsResponse) error {
		return sheet.Sweeps(w, style, siteName(c.Site), answer.GetSweeps())
	})
	return err
}

type sweepShowCommand struct{ sweepArgs }

func (c *sweepShowCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	_, err := ask(p, "reading the sweep", func(to *client.Client) (*bowrollv1.Sweep, error) {
		return to.Sweeps.GetSweep(p.ctx, &bowrollv1.GetSweepRequest{Name: c.name()})
	}, sheet.Sweep)
	return err
}

type sweepCancelCommand struct {
	sweepArgs
	Etag string `help:"The etag under which the sweep was read; refused where it has changed since." placeholder:"ETAG"`
	reasonFlag
	actFlags
}

func (c *sweepCancelCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "cancelling the sweep", func(to *client.Client, id string) (*bowrollv1.Sweep, error) {
		return to.Sweeps.CancelSweep(p.ctx, &bowrollv1.CancelSweepRequest{Name: c.name(), Etag: c.Etag, Reason: c.Reason, Actor: c.Actor, RequestId: id})
	}, sheet.Sweep)
	return err
}

type sweepDeleteCommand struct {
	sweepArgs
	Etag string `help:"The etag under which the sweep was read; refused where it has changed since." placeholder:"ETAG"`
	actFlags
}

func (c *sweepDeleteCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "deleting the sweep", func(to *client.Client, id string) (*bowrollv1.Sweep, error) {
		return to.Sweeps.DeleteSweep(p.ctx, &bowrollv1.DeleteSweepRequest{Name: c.name(), Etag: c.Etag, Actor: c.Actor, RequestId: id})
	}, func(w io.Writer, _ sheet.Style, gone *bowrollv1.Sweep) error {
		_, err := fmt.Fprintf(w, "%s is deleted, with its rows.\n", gone.GetName())
		return err
	})
	return err
}
