package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type stockCommand struct {
	List       stockListCommand       `cmd:"" help:"List lots with what is left of them, or units; as CSV into a file."`
	Receive    stockReceiveCommand    `cmd:"" help:"Take units on charge, into a new lot or one that is there."`
	Move       stockMoveCommand       `cmd:"" help:"Take a step with units: inspect, accept, move, issue, fit and so on; from CSV many at once."`
	Count      stockCountCommand      `cmd:"" help:"Compare the serials that were seen with the ledger."`
	Reconcile  stockReconcileCommand  `cmd:"" help:"Settle what a count found: units lost, units that turned up, units stowed elsewhere."`
	Record     stockRecordCommand     `cmd:"" help:"Record temperature and humidity beside a lot: one reading, or a logger's CSV file."`
	Readings   stockReadingsCommand   `cmd:"" help:"Show the readings of a lot and its exposure outside the limits."`
	Pick       stockPickCommand       `cmd:"" help:"Name the units to take next, first to expire first, and why."`
	Quarantine stockQuarantineCommand `cmd:"" help:"Keep units from use until a named authority decides."`
	Suspend    stockSuspendCommand    `cmd:"" help:"Bar a lot from use and void the cards that hold one of its units."`
	Lift       stockLiftCommand       `cmd:"" help:"Let a suspended lot be used again."`
	Log        stockLogCommand        `cmd:"" help:"Show what happened, from the site's log; check its hashes."`
	Key        stockKeyCommand        `cmd:"" help:"Make the key that a site signs its log with."`
	Export     stockExportCommand     `cmd:"" help:"Write a site's log, signed, into a file to carry elsewhere."`
	Import     stockImportCommand     `cmd:"" help:"Merge the log of another site into the copy of it kept here."`
}

func (*stockCommand) Help() string {
	return `A site owns the stock that it holds. Every change is an entry of the site's log that is
never edited and names who, when and why. Units are named by serial, a run of them by
its ends: em-001..em-040. Examples:

  bowroll --store varrow.db stock receive varrow lot-07 em-001..em-040 --type emberlin-6 \
    --expires 2042-03-31T00:00:00Z --place mag-1 --reason "note 114" --actor quill
  bowroll --store varrow.db stock move varrow inspect em-001..em-040 --reason arrival --actor quill
  bowroll --store varrow.db stock list varrow`
}

type stockListCommand struct {
	Site  string `arg:"" help:"Site, e.g. varrow."`
	Lot   string `help:"List the units of this lot." placeholder:"LOT"`
	State string `help:"List the units in this state: available, reserved, quarantined and so on." placeholder:"STATE"`
	Place string `help:"List the units at this place." placeholder:"PLACE"`
	Plan  string `help:"List the units held for this plan." placeholder:"PLAN"`
	CSV   string `name:"csv" help:"Write the units of the site, or of --lot, as CSV into this file; - writes to standard output." placeholder:"FILE"`
}

func (c *stockListCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	switch {
	case c.CSV != "":
		return c.export(p)
	case c.Lot+c.State+c.Place+c.Plan != "":
		return c.units(p)
	}
	done := p.waiting(newReport("reading the stock"))
	lots, counts, err := c.lots(p)
	done()
	if err != nil {
		return err
	}
	if p.line.Format == "json" {
		return writeStock(p.stdout, lots, counts)
	}
	return sheet.Stock(p.stdout, p.style(), siteName(c.Site), lots, counts)
}

// lots reads every lot, and how many units of each are in which state.
func (c *stockListCommand) lots(p *program) (lots []*bowrollv1.StockLot, counts *bowrollv1.SummarizeStockResponse, err error) {
	to, err := p.connect()
	if err != nil {
		return nil, nil, err
	}
	defer func() { _ = to.Close() }()
	var from *bowrollv1.Provenance
	lots, err = pages(p.ctx, to.Stock.ListLots, func(token string) *bowrollv1.ListLotsRequest {
		return &bowrollv1.ListLotsRequest{Parent: siteName(c.Site), PageSize: 200, PageToken: token}
	}, (*bowrollv1.ListLotsResponse).GetLots, &from)
	if err != nil {
		return nil, nil, err
	}
	counts, err = to.Stock.SummarizeStock(p.ctx, &bowrollv1.SummarizeStockRequest{Parent: siteName(c.Site)})
	return lots, counts, err
}

// writeStock writes lots and counts as one JSON object.
func writeStock(w io.Writer, lots []*bowrollv1.StockLot, counts *bowrollv1.SummarizeStockResponse) error {
	options := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}
	first, err := options.Marshal(&bowrollv1.ListLotsResponse{Lots: lots})
	if err != nil {
		return err
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(first, &fields); err != nil {
		return err
	}
	rest, err := options.Marshal(counts)
	if err != nil {
		return err
	}
	return indent(w, append([]byte(`{"lots":`+string(fields["lots"])+","), rest[1:]...))
}

// units lists single units.
func (c *stockListCommand) units(p *program) error {
	var state *bowrollv1.UnitState
	if c.State != "" {
		value, ok := bowrollv1.UnitState_value["UNIT_STATE_"+strings.ToUpper(strings.ReplaceAll(c.State, "-", "_"))]
		if !ok || value == 0 {
			return badInput{fmt.Errorf("--state %q is no state of a unit: %s", c.State, enumWords(bowrollv1.UnitState(0).Descriptor()))}
		}
		state = bowrollv1.UnitState(value).Enum()
	}
	_, err := ask(p, "reading the stock", func(to *client.Client) (answer *bowrollv1.ListUnitsResponse, err error) {
		answer = &bowrollv1.ListUnitsResponse{}
		answer.Units, err = pages(p.ctx, to.Stock.ListUnits, func(token string) *bowrollv1.ListUnitsRequest {
			return &bowrollv1.ListUnitsRequest{
				Parent: siteName(c.Site), Lot: c.Lot, State: state, Place: c.Place, Plan: c.Plan, PageSize: 1000, PageToken: token,
			}
		}, (*bowrollv1.ListUnitsResponse).GetUnits, &answer.Provenance)
		return answer, err
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListUnitsResponse) error {
		return sheet.Units(w, style, siteName(c.Site), answer.GetUnits())
	})
	return err
}

// export writes units as CSV, the columns named once.
func (c *stockListCommand) export(p *program) error {
	report := newReportOfSeveral("reading the units")
	done := p.waiting(report)
	defer done()
	to, err := p.connect()
	if err != nil {
		return err
	}
	defer func() { _ = to.Close() }()
	var text strings.Builder
	for token := ""; ; {
		answer, err := to.Stock.ExportUnits(p.ctx, &bowrollv1.ExportUnitsRequest{Parent: siteName(c.Site), Lot: c.Lot, PageToken: token})
		if err != nil {
			return err
		}
		part := answer.GetCsv()
		if text.Len() > 0 {
			_, part, _ = strings.Cut(part, "\n")
		}
		text.WriteString(part)
		if token = answer.GetNextPageToken(); token == "" {
			break
		}
	}
	done()
	draw := func(w io.Writer) error { _, err := io.WriteString(w, text.String()); return err }
	if c.CSV == "-" {
		return draw(p.stdout)
	}
	return writeFile(c.CSV, draw)
}

type stockReceiveCommand struct {
	Site       string   `arg:"" help:"Site that holds the units."`
	Lot        string   `arg:"" help:"Lot, e.g. lot-07."`
	Unit       []string `arg:"" optional:"" help:"Serials, a run as em-001..em-040."`
	Place      string   `help:"Where they are stowed." placeholder:"PLACE" required:""`
	Type       string   `help:"Type of a new lot: a booster type of the catalog, or with --kind igniter any name." placeholder:"TYPE" group:"A new lot"`
	Kind       string   `help:"What the units of a new lot are: ${enum}." enum:"booster,igniter" default:"booster" group:"A new lot"`
	Expires    string   `help:"When the units of a new lot expire (RFC 3339)." placeholder:"TIME" group:"A new lot"`
	Name       string   `help:"Name of a new lot for people." placeholder:"TEXT" group:"A new lot"`
	Igniter    string   `help:"Type of the separate igniter that each unit of a new lot needs." placeholder:"TYPE" group:"A new lot"`
	Least      string   `name:"stowage-least" help:"Lowest temperature to stow a new lot at; the booster type's unless given." placeholder:"QUANTITY" group:"A new lot"`
	Greatest   string   `name:"stowage-greatest" help:"Highest temperature to stow a new lot at; the booster type's unless given." placeholder:"QUANTITY" group:"A new lot"`
	ReadingGap string   `help:"Longest time between temperature readings of a new lot that counts as watched." placeholder:"QUANTITY" group:"A new lot"`
	OutOfPack  string   `help:"For igniters, the longest time out of the pack before arming." placeholder:"QUANTITY" group:"A new lot"`
	Check      bool     `help:"Check everything about a new lot and write nothing."`
	reasonFlag
	actFlags
}

func (c *stockReceiveCommand) Run(p *program) error {
	units, err := serials(c.Unit)
	if err != nil {
		return err
	}
	name := childName(c.Site, "lots", c.Lot)
	if c.Type == "" {
		if c.Check || c.Expires+c.Name+c.Igniter+c.Least+c.Greatest+c.ReadingGap+c.OutOfPack != "" {
			return badInput{fmt.Errorf("what describes a new lot is given without --type: give --type to make lot %s, or leave the rest out to receive units into it", c.Lot)}
		}
		_, err := change(p, c.actFlags, "receiving "+count(len(units), "unit"), func(to *client.Client, id string) (*bowrollv1.StockLot, error) {
			return to.Stock.ReceiveUnits(p.ctx, &bowrollv1.ReceiveUnitsRequest{
				Name: name, Units: units, Place: c.Place, Reason: c.Reason, Actor: c.Actor, RequestId: id,
			})
		}, sheet.Lot)
		return err
	}
	lot, err := c.lot(p)
	if err != nil {
		return err
	}
	_, err = change(p, c.actFlags, "receiving "+count(len(units), "unit"), func(to *client.Client, id string) (*bowrollv1.StockLot, error) {
		return to.Stock.CreateLot(p.ctx, &bowrollv1.CreateLotRequest{
			Parent: siteName(c.Site), LotId: strings.TrimPrefix(c.Lot, siteName(c.Site)+"/lots/"), Lot: lot, Units: units,
			Place: c.Place, Reason: c.Reason, Actor: c.Actor, RequestId: id, ValidateOnly: c.Check,
		})
	}, sheet.Lot)
	return err
}

// lot describes the new lot.
func (c *stockReceiveCommand) lot(p *program) (*bowrollv1.StockLot, error) {
	lot := &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_IGNITER, Type: c.Type, DisplayName: c.Name, IgniterType: c.Igniter}
	if c.Kind == "booster" {
		lot.Kind, lot.Type = bowrollv1.LotKind_LOT_KIND_BOOSTER, typeName(c.Type)
	}
	var err error
	if c.Expires == "" {
		return nil, badInput{fmt.Errorf("--expires is missing: say when the units of lot %s expire", c.Lot)}
	}
	if lot.ExpireTime, err = p.instant("--expires", c.Expires); err != nil {
		return nil, err
	}
	for _, q := range []struct {
		flag, text string
		dimension  quantity.Dimension
		into       **float64
	}{
		{"--stowage-least", c.Least, quantity.Temperature, &lot.StowageLeastC},
		{"--stowage-greatest", c.Greatest, quantity.Temperature, &lot.StowageGreatestC},
		{"--reading-gap", c.ReadingGap, quantity.Time, &lot.ReadingGapS},
		{"--out-of-pack", c.OutOfPack, quantity.Time, &lot.OutOfPackS},
	} {
		if q.text == "" {
			continue
		}
		value, err := quantity.Parse(q.dimension, q.text)
		if err != nil {
			return nil, badInput{fmt.Errorf("%s %q: %w", q.flag, q.text, err)}
		}
		*q.into = proto.Float64(value)
	}
	return lot, nil
}

type stockCountCommand struct {
	Site  string   `arg:"" help:"Site."`
	Lot   string   `arg:"" help:"Lot that was counted."`
	Unit  []string `arg:"" optional:"" help:"Serials that were seen, a run as em-001..em-040. None is an answer too."`
	Place string   `help:"Place that was counted; everywhere unless given." placeholder:"PLACE"`
	reasonFlag
	actFlags
}

func (*stockCountCommand) Help() string {
	return `Records the differences and changes no unit: settle them with "stock reconcile". Exits
with 1 where there are differences.`
}

func (c *stockCountCommand) Run(p *program) error {
	seen, err := serials(c.Unit)
	if err != nil {
		return err
	}
	answer, err := change(p, c.actFlags, "comparing the count", func(to *client.Client, id string) (*bowrollv1.CountLotResponse, error) {
		return to.Stock.CountLot(p.ctx, &bowrollv1.CountLotRequest{
			Name: childName(c.Site, "lots", c.Lot), Place: c.Place, UnitsSeen: seen, Reason: c.Reason, Actor: c.Actor, RequestId: id,
		})
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.CountLotResponse) error {
		return sheet.Count(w, style, childName(c.Site, "lots", c.Lot), c.Place, answer)
	})
	if err == nil && len(answer.GetMissing())+len(answer.GetMisplaced())+len(answer.GetUnknown()) > 0 {
		return errNothing
	}
	return err
}

type stockSuspendCommand struct {
	Site      string `arg:"" help:"Site."`
	Lot       string `arg:"" help:"Lot."`
	Authority string `help:"Person who ordered it, where that is not who acts." placeholder:"NAME"`
	reasonFlag
	actFlags
}

func (c *stockSuspendCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "suspending the lot", func(to *client.Client, id string) (*bowrollv1.SuspendLotResponse, error) {
		return to.Stock.SuspendLot(p.ctx, &bowrollv1.SuspendLotRequest{
			Name: childName(c.Site, "lots", c.Lot), Reason: c.Reason, Authority: c.Authority, Actor: c.Actor, RequestId: id,
		})
	}, sheet.Suspended)
	return err
}

type stockLiftCommand struct {
	Site      string `arg:"" help:"Site."`
	Lot       string `arg:"" help:"Lot."`
	Authority string `help:"Person by whose authority it is done." placeholder:"NAME" required:""`
	reasonFlag
	actFlags
}

func (c *stockLiftCommand) Run(p *program) error {
	_, err := change(p, c.actFlags, "lifting the suspension", func(to *client.Client, id string) (*bowrollv1.StockLot, error) {
		return to.Stock.LiftSuspension(p.ctx, &bowrollv1.LiftSuspensionRequest{
			Name: childName(c.Site, "lots", c.Lot), Reason: c.Reason, Authority: c.Authority, Actor: c.Actor, RequestId: id,
		})
	}, sheet.Lot)
	return err
}
