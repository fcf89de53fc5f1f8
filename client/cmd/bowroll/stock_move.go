package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// enumWords lists the values of an enumeration as the command line writes them.
func enumWords(enum protoreflect.EnumDescriptor) string {
	prefix := strings.TrimSuffix(string(enum.Values().Get(0).Name()), "UNSPECIFIED")
	var words []string
	for i := 1; i < enum.Values().Len(); i++ {
		words = append(words, strings.ToLower(strings.TrimPrefix(string(enum.Values().Get(i).Name()), prefix)))
	}
	return strings.Join(words, ", ")
}

// unitEvent reads the name of a step.
func unitEvent(text string) (bowrollv1.UnitEvent, error) {
	value, ok := bowrollv1.UnitEvent_value["UNIT_EVENT_"+strings.ToUpper(strings.ReplaceAll(text, "-", "_"))]
	if !ok || value == 0 {
		return 0, badInput{fmt.Errorf("%q is no step of a unit: %s", text, enumWords(bowrollv1.UnitEvent(0).Descriptor()))}
	}
	return bowrollv1.UnitEvent(value), nil
}

type stockMoveCommand struct {
	Site          string   `arg:"" help:"Site."`
	Step          string   `arg:"" optional:"" help:"inspect, accept, issue, fit, fit_igniter, remove_igniter, arm, expend, misfire, hang_up, return, move, drop, wet, overexpose, quarantine, clear, condemn, dispose, lose, find or annotate."`
	Unit          []string `arg:"" optional:"" help:"Serials, a run as em-001..em-040."`
	CSV           string   `name:"csv" help:"Take the steps of this CSV file instead; - reads standard input. Columns: unit, event, reason; as needed lot, place, authority, igniter, at_launch_point." placeholder:"FILE"`
	Place         string   `help:"Where the units are afterwards." placeholder:"PLACE"`
	Reason        string   `help:"Why. The log keeps it for good." placeholder:"TEXT" group:"Record"`
	Authority     string   `help:"Person by whose authority it is done: needed to clear units." placeholder:"NAME" group:"Record"`
	Igniter       string   `help:"Serial of the igniter, to fit one." placeholder:"UNIT"`
	AtLaunchPoint bool     `help:"The aircraft stands at its launch point, to fit an igniter."`
	Check         bool     `help:"Check all of it and write nothing."`
	actFlags
}

func (*stockMoveCommand) Help() string {
	return `All units take the step or none does; all faults are named at once. Examples:

  bowroll --store varrow.db stock move varrow accept em-001..em-040 --reason arrival --actor quill
  bowroll --store varrow.db stock move varrow --csv deliveries.csv --actor quill`
}

func (c *stockMoveCommand) Run(p *program) error {
	if c.CSV != "" {
		return c.fromCSV(p)
	}
	switch {
	case c.Step == "" || len(c.Unit) == 0:
		return badInput{errors.New("say which step and which units, e.g. stock move varrow inspect em-001..em-040, or name a file with --csv")}
	case c.Reason == "":
		return badInput{errors.New("--reason is missing: say why")}
	}
	event, err := unitEvent(c.Step)
	if err != nil {
		return err
	}
	return p.step(c.actFlags, c.Site, &bowrollv1.UnitStep{
		Event: event, Place: c.Place, Reason: c.Reason, Authority: c.Authority, Igniter: c.Igniter, AtLaunchPoint: c.AtLaunchPoint,
	}, c.Unit, c.Check)
}

// step takes one step with each of some units.
func (p *program) step(f actFlags, site string, like *bowrollv1.UnitStep, units []string, check bool) error {
	units, err := serials(units)
	if err != nil {
		return err
	}
	steps := make([]*bowrollv1.UnitStep, len(units))
	for i, unit := range units {
		steps[i] = &bowrollv1.UnitStep{
			Unit: unit, Event: like.GetEvent(), Place: like.GetPlace(), Reason: like.GetReason(),
			Authority: like.GetAuthority(), Igniter: like.GetIgniter(), AtLaunchPoint: like.GetAtLaunchPoint(),
		}
	}
	_, err = change(p, f, "moving "+count(len(units), "unit"), func(to *client.Client, id string) (*bowrollv1.MoveUnitsResponse, error) {
		return to.Stock.MoveUnits(p.ctx, &bowrollv1.MoveUnitsRequest{Parent: siteName(site), Steps: steps, Actor: f.Actor, RequestId: id, ValidateOnly: check})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.MoveUnitsResponse) error {
		return sheet.Moved(w, style, siteName(site), answer.GetUnits(), check)
	})
	return err
}

// fromCSV takes the steps of a file.
func (c *stockMoveCommand) fromCSV(p *program) error {
	if c.Step != "" || len(c.Unit) > 0 || c.Reason+c.Place+c.Authority+c.Igniter != "" || c.AtLaunchPoint {
		return badInput{errors.New("--csv is given: the file says the steps, the units, reasons and places, so leave them out")}
	}
	text, err := p.read(c.CSV)
	if err != nil {
		return err
	}
	_, err = change(p, c.actFlags, "taking the steps of "+c.CSV, func(to *client.Client, id string) (*bowrollv1.ImportMovementsResponse, error) {
		return to.Stock.ImportMovements(p.ctx, &bowrollv1.ImportMovementsRequest{
			Parent: siteName(c.Site), Csv: string(text), Actor: c.Actor, RequestId: id, ValidateOnly: c.Check,
		})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ImportMovementsResponse) error {
		return sheet.Imported(w, style, siteName(c.Site), answer, c.Check)
	})
	return err
}

type stockQuarantineCommand struct {
	Site  string   `arg:"" help:"Site."`
	Unit  []string `arg:"" help:"Serials, a run as em-001..em-040."`
	Cause string   `help:"What happened: ${enum}." enum:"quarantine,drop,wet,overexpose" default:"quarantine"`
	Place string   `help:"Where the units are afterwards." placeholder:"PLACE"`
	reasonFlag
	actFlags
}

func (*stockQuarantineCommand) Help() string {
	return `A card that holds one of the units is void from then on. Only a named authority
returns a unit to use: "stock move SITE clear UNIT --authority NAME".`
}

func (c *stockQuarantineCommand) Run(p *program) error {
	event, err := unitEvent(c.Cause)
	if err != nil {
		return err
	}
	return p.step(c.actFlags, c.Site, &bowrollv1.UnitStep{Event: event, Place: c.Place, Reason: c.Reason}, c.Unit, false)
}

type stockLogCommand struct {
	Site   string `arg:"" help:"Site."`
	Lot    string `help:"Entries of this lot and its units." placeholder:"LOT"`
	Unit   string `help:"Entries of this unit." placeholder:"UNIT"`
	Plan   string `help:"Entries of this plan." placeholder:"PLAN"`
	Since  int32  `help:"Entries after this number." placeholder:"N"`
	Most   int    `help:"Most entries to show; 0 shows all." default:"0" placeholder:"N"`
	Verify bool   `help:"Check every hash of the log and that the stock is what it says, and show the outcome alone. Exits with 1 where it does not hold."`
}

func (c *stockLogCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	if c.Verify {
		answer, err := ask(p, "checking the log", func(to *client.Client) (*bowrollv1.VerifyLogResponse, error) {
			return to.Stock.VerifyLog(p.ctx, &bowrollv1.VerifyLogRequest{Parent: siteName(c.Site)})
		}, func(w io.Writer, style sheet.Style, answer *bowrollv1.VerifyLogResponse) error {
			return sheet.LogCheck(w, style, siteName(c.Site), answer)
		})
		if err == nil && !answer.GetHolds() {
			return errNothing
		}
		return err
	}
	_, err := ask(p, "reading the log", c.read(p), func(w io.Writer, style sheet.Style, answer *bowrollv1.ListMovementsResponse) error {
		return sheet.Log(w, style, siteName(c.Site), answer)
	})
	return err
}

// read reads the entries asked for, page after page.
func (c *stockLogCommand) read(p *program) func(to *client.Client) (*bowrollv1.ListMovementsResponse, error) {
	return func(to *client.Client) (*bowrollv1.ListMovementsResponse, error) {
		all := &bowrollv1.ListMovementsResponse{}
		for after := c.Since; !all.GetComplete(); {
			size := 1000
			if c.Most > 0 {
				size = min(size, c.Most-len(all.Movements))
			}
			part, err := to.Stock.ListMovements(p.ctx, &bowrollv1.ListMovementsRequest{
				Parent: siteName(c.Site), Lot: c.Lot, Unit: c.Unit, Plan: c.Plan, AfterSequence: after, PageSize: int32(size),
			})
			if err != nil {
				return nil, err
			}
			all.Movements, all.Complete, all.Provenance = append(all.Movements, part.GetMovements()...), part.GetComplete(), part.GetProvenance()
			if len(part.GetMovements()) == 0 || c.Most > 0 && len(all.Movements) >= c.Most {
				break
			}
			after = part.GetMovements()[len(part.GetMovements())-1].GetSequence()
		}
		return all, nil
	}
}
