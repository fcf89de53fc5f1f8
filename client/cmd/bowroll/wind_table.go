package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/client/sheet/chart"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// tableFlags are those of the table of a deck.
type tableFlags struct {
	Table        bool   `help:"Answer the table of a whole deck: least headwinds over types, flaps, spots, masses, temperatures and units." group:"Table"`
	Masses       string `help:"Masses without units, e.g. \"9,500 lb to 13,000 lb by 500 lb\"; a semicolon between several." placeholder:"RANGE" group:"Table"`
	Temperatures string `help:"Outside air temperatures, in place of --temperature, written alike." placeholder:"RANGE" group:"Table"`
	CSV          string `name:"csv" help:"Write the table as CSV, in SI, to a file; - for standard output." placeholder:"FILE" group:"Table"`
}

// unused refuses flags of the table where there is none.
func (c *windCommand) unused() error {
	var faults []error
	for _, f := range []struct{ flag, given string }{{"--masses", c.Masses}, {"--temperatures", c.Temperatures}, {"--csv", c.CSV}} {
		if f.given != "" {
			faults = append(faults, fmt.Errorf("%s goes with --table", f.flag))
		}
	}
	if err := errors.Join(faults...); err != nil {
		return badInput{err}
	}
	return nil
}

// tablePaths are the keys of a table that flags of a case set.
var tablePaths = map[string]string{
	"boosters.firing.mode": "firing.mode", "boosters.firing.delay": "firing.delay",
	"aircraft_type": "loads[0].aircraft_type", "boosters.booster_type": "boosters.booster_type",
}

// tableLists are the lists of a table that a single flag sets.
var tableLists = map[string]string{
	"flap": "loads[0].flaps", "gross_mass": "loads[0].gross_masses", "spot": "spots", "boosters.grain_temperature": "boosters.grain_temperatures",
}

// tableDocument is the request as written: the file, if there is one, with the
// flags in their places.
func (c *windCommand) tableDocument(p *program) (*cycle.Document, error) {
	document := cycle.New(commandLineName)
	if c.Case != "" {
		source, err := p.read(c.Case)
		if err != nil {
			return nil, err
		}
		if document, err = cycle.Parse(c.Case, source); err != nil {
			return nil, err
		}
	}
	c.each(func(path, value, flag string) {
		switch {
		case path == "headwind" || path == "crosswind" || path == "boosters.duds":
			document.Refuse(cycle.Fault{Place: cycle.Place{File: commandLineName, Flag: flag}, Value: value, Problem: "has no place in a table of winds"})
		case path == "boosters.count":
			document.SetList("loads[0].unit_counts", []string{value}, flag)
		case tableLists[path] != "":
			document.SetList(tableLists[path], []string{value}, flag)
		case tablePaths[path] != "":
			document.Set(tablePaths[path], value, flag)
		default:
			document.Set(path, value, flag)
		}
	})
	if len(c.Counts) > 0 {
		counts := make([]string, len(c.Counts))
		for i, n := range c.Counts {
			counts[i] = strconv.Itoa(int(n))
		}
		document.SetList("loads[0].unit_counts", counts, "--counts")
	}
	for _, list := range []struct {
		flag, path string
		dimension  quantity.Dimension
		written    string
		fills      []string // paths that its first value fills where nothing else does
	}{
		{"--masses", "loads[0].gross_masses", quantity.Mass, c.Masses, nil},
		{"--temperatures", "temperatures", quantity.Temperature, c.Temperatures, []string{"air.temperature", "air"}},
	} {
		if list.written == "" {
			continue
		}
		texts, err := ranges(list.dimension, list.written)
		if err != nil {
			document.Refuse(cycle.Fault{Place: cycle.Place{File: commandLineName, Flag: list.flag}, Value: list.written,
				Problem: err.Error(), Hint: `e.g. "` + list.dimension.Example() + `", or a range: "A to B by C"`}, append(list.fills, list.path)...)
			continue
		}
		document.SetList(list.path, texts, list.flag)
		if len(list.fills) > 0 && !document.HasPath(list.fills[0]) {
			document.Set(list.fills[0], texts[0], list.flag)
		}
	}
	for _, path := range sortedKeys(c.Set) {
		document.Set(path, c.Set[path], "--set "+path)
	}
	if !document.Has("firing_plan") {
		document.Set("firing_plan", c.FiringPlan, "--firing-plan")
	}
	return document, nil
}

// mostInRange is how many values one range may have.
const mostInRange = 1000

// ranges reads quantities and ranges of them, "A to B by C", parted by
// semicolons, into texts in the units of the wire.
func ranges(d quantity.Dimension, written string) ([]string, error) {
	var texts []string
	add := func(v float64) { texts = append(texts, strconv.FormatFloat(v, 'g', -1, 64)+" "+d.Unit()) }
	for one := range strings.SplitSeq(written, ";") {
		one = strings.TrimSpace(one)
		from, rest, ok := strings.Cut(one, " to ")
		if !ok {
			v, err := quantity.Parse(d, one)
			if err != nil {
				return nil, fmt.Errorf("is not read as a %s", d)
			}
			add(v)
			continue
		}
		to, by, ok := strings.Cut(rest, " by ")
		if !ok {
			return nil, errors.New("is a range without its step")
		}
		step := d
		if d == quantity.Temperature {
			step = quantity.TemperatureDifference
		}
		low, err1 := quantity.Parse(d, from)
		high, err2 := quantity.Parse(d, to)
		each, err3 := quantity.Parse(step, by)
		switch {
		case errors.Join(err1, err2, err3) != nil:
			return nil, fmt.Errorf("is not read as a range of %s", d)
		case !(each > 0) || high < low:
			return nil, errors.New("is a range that does not rise")
		case (high-low)/each > mostInRange:
			return nil, fmt.Errorf("is a range of more than %d values", mostInRange)
		}
		for i := 0; low+float64(i)*each <= high+1e-9*each; i++ {
			add(low + float64(i)*each)
		}
	}
	return texts, nil
}

// A windTable is a table as received.
type windTable struct {
	rows    []*bowrollv1.WindTableRow
	summary *bowrollv1.WindTableSummary
}

// errCut says that a stream ended before it said that it was complete.
var errCut = errors.New("the table broke off before its end: what came is not whole; ask again")

// receive reads a table to its summary.
func receive(ctx context.Context, to *client.Client, request *bowrollv1.WindLimitsTabulateRequest, report *report) (*windTable, error) {
	stream, err := to.WindLimits.Tabulate(ctx, request)
	if err != nil {
		return nil, err
	}
	table := new(windTable)
	for {
		part, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF) && table.summary == nil:
			return nil, errCut
		case errors.Is(err, io.EOF):
			return table, nil
		case err != nil:
			return nil, err
		}
		if row := part.GetItem(); row != nil {
			table.rows = append(table.rows, row)
		}
		if at := part.GetProgress(); at != nil {
			report.say(fmt.Sprintf("%d of %d cells", at.GetDoneCount(), at.GetCellCount()))
			report.counted(int(at.GetDoneCount()), int(at.GetCellCount()))
		}
		if part.GetSummary() != nil {
			table.summary = part.GetSummary()
		}
	}
}

// table asks for the table of a deck and writes it in every form asked for.
func (c *windCommand) table(p *program) error {
	format, err := chartFormat(c.Chart)
	if err != nil {
		return err
	}
	document, err := c.tableDocument(p)
	if err != nil {
		return err
	}
	request := &bowrollv1.WindLimitsTabulateRequest{}
	index, err := document.Decode(request)
	if err != nil {
		return err
	}
	report := newReport("computing the table")
	done := p.waiting(report)
	table, err := func() (*windTable, error) {
		to, err := p.connect()
		if err != nil {
			return nil, err
		}
		defer func() { _ = to.Close() }()
		ctx, cancel := context.WithTimeout(p.ctx, p.line.Timeout)
		defer cancel()
		table, err := receive(ctx, to, request, report)
		return table, late(ctx, err)
	}()
	done()
	if err != nil {
		return refused{err, index, ""}
	}
	if c.Chart != "" {
		style := chart.Style{Format: format, Units: p.style().Units, About: request.GetDeck()}
		if err := writeFile(c.Chart, func(w io.Writer) error { return chart.Table(w, style, table.rows, table.summary) }); err != nil {
			return badInput{err}
		}
	}
	if c.CSV == "-" {
		return writeCSV(p.stdout, table.rows)
	}
	if c.CSV != "" {
		if err := writeFile(c.CSV, func(w io.Writer) error { return writeCSV(w, table.rows) }); err != nil {
			return err
		}
	}
	if p.line.Format == "json" {
		return table.json(p.stdout)
	}
	if err := sheet.WindTable(p.stdout, p.style(), request.GetDeck(), table.rows, table.summary); err != nil {
		return err
	}
	if table.summary.GetFoundCount()+table.summary.GetAnyWindCount() == 0 {
		return errNothing
	}
	return nil
}

// json writes a table as one document, its rows and its summary.
func (t *windTable) json(w io.Writer) error {
	options := protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true}
	document := struct {
		Rows    []json.RawMessage `json:"rows"`
		Summary json.RawMessage   `json:"summary"`
	}{Rows: make([]json.RawMessage, len(t.rows))}
	var err error
	for i, row := range t.rows {
		if document.Rows[i], err = options.Marshal(row); err != nil {
			return err
		}
	}
	if document.Summary, err = options.Marshal(t.summary); err != nil {
		return err
	}
	compact, err := json.Marshal(document)
	if err != nil {
		return err
	}
	return indent(w, compact)
}

// writeCSV writes rows with the contract's column names and units. What is
// absent is an empty field.
func writeCSV(w io.Writer, rows []*bowrollv1.WindTableRow) error {
	out := csv.NewWriter(w)
	fields := (&bowrollv1.WindTableRow{}).ProtoReflect().Descriptor().Fields()
	record := make([]string, fields.Len())
	for i := range record {
		record[i] = string(fields.Get(i).Name())
	}
	if err := out.Write(record); err != nil {
		return err
	}
	for _, row := range rows {
		for i := range record {
			record[i] = csvField(row, fields.Get(i))
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func csvField(row proto.Message, fd protoreflect.FieldDescriptor) string {
	m := row.ProtoReflect()
	if fd.HasPresence() && !m.Has(fd) {
		return ""
	}
	v := m.Get(fd)
	switch fd.Kind() {
	case protoreflect.EnumKind:
		if known := fd.Enum().Values().ByNumber(v.Enum()); known != nil {
			return string(known.Name())
		}
		return strconv.Itoa(int(v.Enum()))
	case protoreflect.DoubleKind:
		return strconv.FormatFloat(v.Float(), 'g', -1, 64)
	}
	return fmt.Sprint(v.Interface())
}

// chartFormat is the format of a chart's file; none where there is no chart.
func chartFormat(file string) (chart.Format, error) {
	if file == "" {
		return 0, nil
	}
	format, err := chart.FormatOf(file)
	if err != nil {
		return 0, badInput{fmt.Errorf("--chart %w", err)}
	}
	return format, nil
}
