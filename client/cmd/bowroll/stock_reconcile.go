package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type stockReconcileCommand struct {
	Site      string   `arg:"" help:"Site."`
	Lot       string   `arg:"" help:"Lot that was counted."`
	Lost      []string `help:"Serials that are missing: reported lost." placeholder:"UNIT,..."`
	Report    string   `help:"Number or name of the report of the loss; needed with --lost." placeholder:"TEXT"`
	Found     []string `help:"Serials reported lost before that turned up: quarantined at --place." placeholder:"UNIT,..."`
	Misplaced []string `help:"Serials seen at --place that the ledger has stowed elsewhere." placeholder:"UNIT,..."`
	Place     string   `help:"Where the units of --found and --misplaced are; needed with them." placeholder:"PLACE"`
	Check     bool     `help:"Check all of it and write nothing."`
	reasonFlag
	actFlags
}

func (*stockReconcileCommand) Help() string {
	return `Settles what "stock count" found, all in one request: every unit is settled or none is. A
unit that turned up is quarantined until a named authority clears it; one that the site does
not have is received. A unit that is out of stowage is returned first. Example:

  bowroll --store varrow.db stock reconcile varrow lot-07 --lost em-010..em-012 --report LR-4 \
    --found em-003 --place mag-1 --reason "weekly count" --actor quill`
}

func (c *stockReconcileCommand) Run(p *program) error {
	steps, err := c.steps()
	if err != nil {
		return err
	}
	if err := p.keeps(); err != nil {
		return err
	}
	if err := c.ofLot(p, steps); err != nil {
		return err
	}
	_, err = change(p, c.actFlags, "settling "+count(len(steps), "unit"), func(to *client.Client, id string) (*bowrollv1.MoveUnitsResponse, error) {
		return to.Stock.MoveUnits(p.ctx, &bowrollv1.MoveUnitsRequest{
			Parent: siteName(c.Site), Steps: steps, Actor: c.Actor, RequestId: id, ValidateOnly: c.Check,
		})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.MoveUnitsResponse) error {
		return sheet.Reconciled(w, style, childName(c.Site, "lots", c.Lot), answer.GetUnits(), c.Check)
	})
	return err
}

// steps are what the command line says, in its order and whatever the ledger has,
// so that the same command is the same request.
func (c *stockReconcileCommand) steps() (steps []*bowrollv1.UnitStep, err error) {
	switch {
	case len(c.Lost)+len(c.Found)+len(c.Misplaced) == 0:
		return nil, badInput{errors.New(`nothing is settled: name units with --lost, --found or --misplaced, as "stock count" named them`)}
	case len(c.Lost) > 0 && c.Report == "":
		return nil, badInput{errors.New("--report is missing: a unit is lost on a report, so name it")}
	case len(c.Lost) == 0 && c.Report != "":
		return nil, badInput{errors.New("--report is given without --lost: say which units it reports, or leave it out")}
	case len(c.Found)+len(c.Misplaced) > 0 && c.Place == "":
		return nil, badInput{errors.New("--place is missing: say where the units of --found and --misplaced are")}
	case len(c.Found)+len(c.Misplaced) == 0 && c.Place != "":
		return nil, badInput{errors.New("--place is given without --found and --misplaced: a lost unit has no place")}
	}
	flagOf := map[string]string{}
	for _, part := range []struct {
		flag, place, reason string
		units               []string
		event               bowrollv1.UnitEvent
	}{
		{"--lost", "", c.Reason + " (report " + c.Report + ")", c.Lost, bowrollv1.UnitEvent_UNIT_EVENT_LOSE},
		{"--found", c.Place, c.Reason, c.Found, bowrollv1.UnitEvent_UNIT_EVENT_FIND},
		{"--misplaced", c.Place, c.Reason, c.Misplaced, bowrollv1.UnitEvent_UNIT_EVENT_MOVE},
	} {
		units, err := serials(part.units)
		if err != nil {
			return nil, err
		}
		for _, unit := range units {
			if first, twice := flagOf[unit]; twice {
				return nil, badInput{fmt.Errorf("%s is named twice, in %s and %s: a unit is settled one way", unit, first, part.flag)}
			}
			flagOf[unit] = part.flag
			steps = append(steps, &bowrollv1.UnitStep{Unit: unit, Event: part.event, Place: part.place, Reason: part.reason})
		}
	}
	return steps, nil
}

// ofLot refuses units that are not of the lot, all at once: a slip of a serial
// settles nothing of another lot.
func (c *stockReconcileCommand) ofLot(p *program, steps []*bowrollv1.UnitStep) error {
	defer p.waiting(newReport("reading the units of the lot"))()
	to, err := p.connect()
	if err != nil {
		return err
	}
	defer func() { _ = to.Close() }()
	var from *bowrollv1.Provenance
	units, err := pages(p.ctx, to.Stock.ListUnits, func(token string) *bowrollv1.ListUnitsRequest {
		return &bowrollv1.ListUnitsRequest{
			Parent: siteName(c.Site), Lot: strings.TrimPrefix(c.Lot, siteName(c.Site)+"/lots/"), PageSize: 1000, PageToken: token,
		}
	}, (*bowrollv1.ListUnitsResponse).GetUnits, &from)
	if err != nil {
		return err
	}
	has := map[string]bool{}
	for _, unit := range units {
		has[unit.GetName()[strings.LastIndexByte(unit.GetName(), '/')+1:]] = true
	}
	var strange []string
	for _, step := range steps {
		if !has[step.GetUnit()] {
			strange = append(strange, step.GetUnit())
		}
	}
	if len(strange) > 0 {
		return badInput{fmt.Errorf(`lot %s has no unit %s: look for it with "stock log %s --unit"; one that the site does not have is taken on charge with "stock receive"; nothing was changed`,
			c.Lot, strings.Join(strange, ", "), c.Site)}
	}
	return nil
}
