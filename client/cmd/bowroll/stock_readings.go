package main

import (
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type stockRecordCommand struct {
	Site        string `arg:"" help:"Site."`
	Lot         string `arg:"" help:"Lot that the readings were taken beside."`
	CSV         string `name:"csv" help:"Record the readings of this CSV file; - reads standard input. Columns: time and temperature_c (or temperature_f, or temperature with its unit); as needed relative_humidity (0 to 1) or relative_humidity_pct, place, source." placeholder:"FILE"`
	At          string `help:"When the one reading was taken (RFC 3339)." placeholder:"TIME"`
	Temperature string `help:"What it was." placeholder:"QUANTITY"`
	Humidity    string `help:"Relative humidity, 0 to 1; left out where it was not measured." placeholder:"NUMBER"`
	Place       string `help:"Where the logger is, where a lot is in several places." placeholder:"PLACE"`
	Source      string `help:"Logger or person that read it." placeholder:"NAME"`
	actFlags
}

func (*stockRecordCommand) Help() string {
	return `Readings that are there already change nothing; one that contradicts what is there is
refused. A reading outside the limits of the lot quarantines the units that are stowed
there, and voids the cards that hold one. Examples:

  bowroll --store varrow.db stock record varrow lot-07 --at 2041-03-06T04:00:00Z \
    --temperature "18 degC" --humidity 0.4 --actor quill
  bowroll --store varrow.db stock record varrow lot-07 --csv logger-3.csv --actor quill`
}

// mostReadings is how many readings one request holds.
const mostReadings = 5000

func (c *stockRecordCommand) Run(p *program) error {
	readings, err := c.readings(p)
	if err != nil {
		return err
	}
	name := childName(c.Site, "lots", c.Lot)
	_, err = change(p, c.actFlags, "recording "+count(len(readings), "reading"), func(to *client.Client, id string) (*bowrollv1.RecordReadingsResponse, error) {
		all := &bowrollv1.RecordReadingsResponse{}
		for first := 0; first < len(readings); first += mostReadings {
			part := id // each part is a request of its own, the same when it is sent again
			if first > 0 {
				part = fmt.Sprintf("%.50s-part%d", id, first/mostReadings+1)
			}
			answer, err := to.Stock.RecordReadings(p.ctx, &bowrollv1.RecordReadingsRequest{
				Name: name, Readings: readings[first:min(len(readings), first+mostReadings)], Actor: c.Actor, RequestId: part,
			})
			if err != nil {
				return nil, err
			}
			all.AddedCount, all.Provenance = all.AddedCount+answer.GetAddedCount(), answer.GetProvenance()
			all.Quarantined = append(all.Quarantined, answer.GetQuarantined()...)
		}
		return all, nil
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.RecordReadingsResponse) error {
		return sheet.Recorded(w, style, name, len(readings), answer)
	})
	return err
}

// readings are those of the file, or the one that the flags give.
func (c *stockRecordCommand) readings(p *program) ([]*bowrollv1.Reading, error) {
	if c.CSV != "" {
		if c.At+c.Temperature+c.Humidity != "" {
			return nil, badInput{errors.New("--csv is given: the file says the times, temperatures and humidities, so leave --at, --temperature and --humidity out")}
		}
		text, err := p.read(c.CSV)
		if err != nil {
			return nil, err
		}
		return cycle.ReadLogger(c.CSV, text, c.Place, c.Source)
	}
	if c.At == "" || c.Temperature == "" {
		return nil, badInput{errors.New("a reading has a time and a temperature: give --at and --temperature, or a logger's file with --csv")}
	}
	at, err := time.Parse(time.RFC3339, c.At)
	if err != nil {
		return nil, badInput{fmt.Errorf("--at %q is no instant: write it like 2041-03-06T04:00:00Z", c.At)}
	}
	celsius, err := quantity.Parse(quantity.Temperature, c.Temperature)
	if err != nil {
		return nil, badInput{fmt.Errorf("--temperature %q: %w", c.Temperature, err)}
	}
	reading := &bowrollv1.Reading{Time: timestamppb.New(at), TemperatureC: proto.Float64(celsius), Place: c.Place, Source: c.Source}
	if c.Humidity != "" {
		humidity, err := quantity.Parse(quantity.Ratio, c.Humidity)
		if err != nil || !(humidity >= 0 && humidity <= 1) {
			return nil, badInput{fmt.Errorf("--humidity %q: must be from 0 to 1, or a percentage like 40%%", c.Humidity)}
		}
		reading.RelativeHumidity = proto.Float64(humidity)
	}
	return []*bowrollv1.Reading{reading}, nil
}

type stockReadingsCommand struct {
	Site  string `arg:"" help:"Site."`
	Lot   string `arg:"" help:"Lot."`
	After string `help:"Readings after this instant (RFC 3339)." placeholder:"TIME"`
}

func (*stockReadingsCommand) Help() string {
	return `The time with no reading close enough is shown as unknown, which is not the same as
fine. With --format json the readings alone are written.`
}

func (c *stockReadingsCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	name := childName(c.Site, "lots", c.Lot)
	var after *timestamppb.Timestamp
	if c.After != "" {
		var err error
		if after, err = p.instant("--after", c.After); err != nil {
			return err
		}
	}
	var exposure *bowrollv1.Exposure
	_, err := ask(p, "reading the readings", func(to *client.Client) (*bowrollv1.ListReadingsResponse, error) {
		all := &bowrollv1.ListReadingsResponse{}
		for !all.GetComplete() {
			part, err := to.Stock.ListReadings(p.ctx, &bowrollv1.ListReadingsRequest{Parent: name, AfterTime: after, PageSize: 1000})
			if err != nil {
				return nil, err
			}
			all.Readings, all.Complete, all.Provenance = append(all.Readings, part.GetReadings()...), part.GetComplete(), part.GetProvenance()
			if len(part.GetReadings()) == 0 {
				break
			}
			after = part.GetReadings()[len(part.GetReadings())-1].GetTime()
		}
		var err error
		exposure, err = to.Stock.GetExposure(p.ctx, &bowrollv1.GetExposureRequest{Name: name})
		return all, err
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListReadingsResponse) error {
		return sheet.Readings(w, style, name, answer.GetReadings(), exposure)
	})
	return err
}

type stockPickCommand struct {
	Site  string `arg:"" help:"Site."`
	Type  string `arg:"" help:"Booster type of the catalog, e.g. emberlin-6."`
	Count int32  `arg:"" help:"How many."`
	Pairs bool   `help:"In pairs of one lot, as mirror stations need."`
	Use   string `help:"When they are to be used (RFC 3339, or a time from now)." placeholder:"TIME" default:"0 s"`
}

func (c *stockPickCommand) Run(p *program) error {
	if err := p.keeps(); err != nil {
		return err
	}
	use, err := p.instant("--use", c.Use)
	if err != nil {
		return err
	}
	_, err = ask(p, "picking "+count(int(c.Count), "unit"), func(to *client.Client) (*bowrollv1.PickUnitsResponse, error) {
		return to.Stock.PickUnits(p.ctx, &bowrollv1.PickUnitsRequest{
			Parent: siteName(c.Site), BoosterType: typeName(c.Type), UnitCount: &c.Count, Pairs: c.Pairs, UseTime: use,
		})
	}, sheet.Picks)
	return err
}
