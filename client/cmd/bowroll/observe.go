package main

import (
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type observeCommand struct {
	Record      observeRecordCommand      `cmd:"" help:"Record what launches did, from a file (YAML or CSV). What is recorded stays; a later record supersedes it."`
	List        observeListCommand        `cmd:"" help:"List the recorded runs of a site."`
	Residuals   observeResidualsCommand   `cmd:"" help:"Compare recorded runs with the model: residuals, groups, drift."`
	Debrief     observeDebriefCommand     `cmd:"" help:"Lay what the sorties of a kept plan did beside what was planned."`
	Fit         observeFitCommand         `cmd:"" help:"Fit the correction of an aircraft type, and keep nothing."`
	Propose     observeProposeCommand     `cmd:"" help:"Fit a correction and keep it as a proposal."`
	Corrections observeCorrectionsCommand `cmd:"" help:"List corrections, or show one."`
	Accept      observeAcceptCommand      `cmd:"" help:"Make a proposed correction part of the catalog, as a new revision."`
	Reject      observeRejectCommand      `cmd:"" help:"Decline a proposed correction."`
	Revert      observeRevertCommand      `cmd:"" help:"Take an accepted correction out of the catalog again."`
}

func (*observeCommand) Help() string {
	return `A correction is factors on an aircraft type's thrust, rolling friction and zero-lift drag.
It is a proposal until a custodian accepts it; kept plans stay with the catalog they were
made with. Examples:

  bowroll --store varrow.db observe record varrow testdata/observed/varrow.yaml --actor quill
  bowroll --store varrow.db observe residuals varrow
  bowroll --store varrow.db observe fit varrow corvane
  bowroll --store varrow.db observe propose varrow corvane corvane-spring --reason "60 runs" --actor quill
  bowroll --store varrow.db observe accept corvane-spring --reason "board" --actor custodian`
}

// choiceFlags choose runs.
type choiceFlags struct {
	Type string `help:"Runs of this aircraft type only." placeholder:"TYPE"`
	Tail string `help:"Runs of this aircraft only." placeholder:"TAIL"`
	Lot  string `help:"Runs with units of this lot only." placeholder:"LOT"`
	Plan string `help:"Runs flown from this plan only." placeholder:"PLAN"`
}

// aircraftTypeName takes an aircraft type by id or resource name.
func aircraftTypeName(id string) string {
	if id == "" {
		return ""
	}
	return "aircraftTypes/" + strings.TrimPrefix(id, "aircraftTypes/")
}

type observeListCommand struct {
	Site string `arg:"" help:"Site, e.g. varrow."`
	choiceFlags
	Superseded bool `help:"Superseded records too."`
}

func (c *observeListCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	_, err := ask(p, "reading the runs", func(to *client.Client) (answer *bowrollv1.ListObservedRunsResponse, err error) {
		answer = &bowrollv1.ListObservedRunsResponse{}
		answer.ObservedRuns, err = pages(p.ctx, to.Observations.ListObservedRuns, func(token string) *bowrollv1.ListObservedRunsRequest {
			return &bowrollv1.ListObservedRunsRequest{
				Parent: siteName(c.Site), AircraftType: aircraftTypeName(c.Type), Tail: c.Tail, Lot: c.Lot, Plan: c.Plan,
				IncludeSuperseded: c.Superseded, PageSize: 200, PageToken: token,
			}
		}, (*bowrollv1.ListObservedRunsResponse).GetObservedRuns, &answer.Provenance)
		return answer, err
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListObservedRunsResponse) error {
		return sheet.ObservedRuns(w, style, siteName(c.Site), answer.GetObservedRuns())
	})
	return err
}

type observeResidualsCommand struct {
	Site string `arg:"" help:"Site, e.g. varrow."`
	choiceFlags
	Revision string `help:"Revision of the catalog to predict with; the one that holds unless given." placeholder:"REVISION"`
}

func (*observeResidualsCommand) Help() string {
	return `Residuals are observed less predicted. Runs that contradict themselves are flagged and count
nowhere else. Exits with 1 where a type drifts.`
}

func (c *observeResidualsCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	answer, err := ask(p, "comparing the runs with the model", func(to *client.Client) (*bowrollv1.TabulateResidualsResponse, error) {
		return to.Observations.TabulateResiduals(p.ctx, &bowrollv1.TabulateResidualsRequest{
			Parent: siteName(c.Site), AircraftType: aircraftTypeName(c.Type), Tail: c.Tail, Lot: c.Lot, Plan: c.Plan, CatalogRevision: c.Revision,
		})
	}, sheet.Residuals)
	for _, d := range answer.GetDrifts() {
		if err == nil && d.GetAlarm() {
			return errNothing
		}
	}
	return err
}

type observeDebriefCommand struct{ planArgs }

func (c *observeDebriefCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	_, err := ask(p, "comparing planned with actual", func(to *client.Client) (*bowrollv1.DebriefPlanResponse, error) {
		return to.Observations.DebriefPlan(p.ctx, &bowrollv1.DebriefPlanRequest{Name: c.name()})
	}, sheet.Debrief)
	return err
}

// fitFlags say how a fit is made.
type fitFlags struct {
	Interval float64 `help:"Probability that the intervals hold." placeholder:"P" default:"0.9"`
	Folds    int32   `help:"Parts that the runs are split into, each predicted from the others." placeholder:"N" default:"5"`
}

func (f fitFlags) settings() *bowrollv1.FitSettings {
	return &bowrollv1.FitSettings{IntervalProbability: proto.Float64(f.Interval), FoldCount: proto.Int32(f.Folds)}
}

type observeFitCommand struct {
	Site string `arg:"" help:"Site whose runs are fitted, e.g. varrow."`
	Type string `arg:"" help:"Aircraft type, e.g. corvane."`
	fitFlags
}

func (c *observeFitCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	_, err := ask(p, "fitting", func(to *client.Client) (*bowrollv1.CorrectionFit, error) {
		return to.Observations.FitCorrection(p.ctx, &bowrollv1.FitCorrectionRequest{Parent: siteName(c.Site), AircraftType: aircraftTypeName(c.Type), Settings: c.settings()})
	}, sheet.CorrectionFit)
	return err
}

type observeProposeCommand struct {
	Site       string `arg:"" help:"Site whose runs are fitted, e.g. varrow."`
	Type       string `arg:"" help:"Aircraft type, e.g. corvane."`
	Correction string `arg:"" help:"Id of the correction, e.g. corvane-spring."`
	fitFlags
	reasonFlag
	actFlags
}

func (c *observeProposeCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "fitting and proposing", func(to *client.Client, id string) (*bowrollv1.Correction, error) {
		return to.Observations.ProposeCorrection(p.ctx, &bowrollv1.ProposeCorrectionRequest{
			Parent: siteName(c.Site), CorrectionId: c.Correction, AircraftType: aircraftTypeName(c.Type), Settings: c.settings(),
			Reason: c.Reason, Actor: c.Actor, RequestId: id,
		})
	}, sheet.Correction)
	return err
}

type observeCorrectionsCommand struct {
	Correction string `arg:"" optional:"" help:"Correction to show, e.g. corvane-spring."`
	Type       string `help:"Those of this aircraft type only." placeholder:"TYPE"`
}

func (c *observeCorrectionsCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	if c.Correction != "" {
		_, err := ask(p, "reading the correction", func(to *client.Client) (*bowrollv1.Correction, error) {
			return to.Observations.GetCorrection(p.ctx, &bowrollv1.GetCorrectionRequest{Name: correctionName(c.Correction)})
		}, sheet.Correction)
		return err
	}
	_, err := ask(p, "reading the corrections", func(to *client.Client) (answer *bowrollv1.ListCorrectionsResponse, err error) {
		answer = &bowrollv1.ListCorrectionsResponse{}
		answer.Corrections, err = pages(p.ctx, to.Observations.ListCorrections, func(token string) *bowrollv1.ListCorrectionsRequest {
			return &bowrollv1.ListCorrectionsRequest{AircraftType: aircraftTypeName(c.Type), PageSize: 200, PageToken: token}
		}, (*bowrollv1.ListCorrectionsResponse).GetCorrections, &answer.Provenance)
		return answer, err
	}, sheet.Corrections)
	return err
}

func correctionName(id string) string { return "corrections/" + strings.TrimPrefix(id, "corrections/") }

// decideArgs are what every decision on a correction says.
type decideArgs struct {
	Correction string `arg:"" help:"Correction, e.g. corvane-spring."`
	Etag       string `help:"The etag under which it was read; refused where it was decided on since. Read anew unless given." placeholder:"ETAG"`
	reasonFlag
	actFlags
}

type observeAcceptCommand struct{ decideArgs }

type observeRejectCommand struct{ decideArgs }

type observeRevertCommand struct{ decideArgs }

func (c *observeAcceptCommand) Run(p *program) error {
	return c.decide(p, "accepting", func(to *client.Client, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
		return to.Observations.AcceptCorrection(p.ctx, r)
	})
}

func (c *observeRejectCommand) Run(p *program) error {
	return c.decide(p, "declining", func(to *client.Client, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
		return to.Observations.RejectCorrection(p.ctx, r)
	})
}

func (c *observeRevertCommand) Run(p *program) error {
	return c.decide(p, "reverting", func(to *client.Client, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
		return to.Observations.RevertCorrection(p.ctx, r)
	})
}

// decide decides on a correction as it was seen, or as it is now.
func (c *decideArgs) decide(p *program, what string, call func(*client.Client, *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error)) error {
	name := correctionName(c.Correction)
	_, err := change(p, c.actFlags, what, func(to *client.Client, id string) (*bowrollv1.Correction, error) {
		tag := c.Etag
		if tag == "" {
			held, err := to.Observations.GetCorrection(p.ctx, &bowrollv1.GetCorrectionRequest{Name: name})
			if err != nil {
				return nil, fmt.Errorf("reading it first: %w", err)
			}
			tag = held.GetEtag()
		}
		return call(to, &bowrollv1.DecideCorrectionRequest{Name: name, Etag: tag, Reason: c.Reason, Actor: c.Actor, RequestId: id})
	}, sheet.Correction)
	return err
}
