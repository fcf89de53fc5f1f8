package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"bowroll/client"
	"bowroll/client/gather"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type sweepReadCommand struct {
	sweepArgs
	Out   string `arg:"" help:"File to write; its ending says the form: .ndjson, .csv or .parquet."`
	First *int32 `help:"Index of the first row, from 0; the first unless given." placeholder:"ROW"`
	Rows  *int32 `help:"Number of rows; all from the first on unless given." placeholder:"N"`
}

func (*sweepReadCommand) Help() string {
	return `The file appears whole, under the sum that the service names, or not at all. Columns carry
their units in their names (run_m, headwind_mps), in SI. Of a sweep that is not done yet the
rows that are done can be read with --first and --rows.`
}

// sweepFormats are the forms of a file by its ending.
var sweepFormats = map[string]bowrollv1.SweepFormat{
	".ndjson":  bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON,
	".csv":     bowrollv1.SweepFormat_SWEEP_FORMAT_CSV,
	".parquet": bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET,
}

func (c *sweepReadCommand) Run(p *program) error {
	format, ok := sweepFormats[strings.ToLower(filepath.Ext(c.Out))]
	if !ok {
		return badInput{fmt.Errorf("%s: the ending says no form of rows: .ndjson, .csv or .parquet", c.Out)}
	}
	if err := p.keeps(); err != nil {
		return err
	}
	report := &report{what: "reading rows", open: true}
	_, err := askTelling(p, report, func(to *client.Client) (summary *bowrollv1.SweepFileSummary, err error) {
		request := &bowrollv1.ReadSweepRequest{Name: c.name(), Format: format, FirstRow: c.First, RowCount: c.Rows}
		err = placeFile(c.Out, func(w io.Writer) error {
			summary, err = readSweep(p, to, request, w, report)
			return err
		})
		return summary, err
	}, func(w io.Writer, style sheet.Style, summary *bowrollv1.SweepFileSummary) error {
		return sheet.SweepFile(w, style, c.Out, summary)
	})
	return err
}

// errSilent says that nothing came for too long.
var errSilent = errors.New("no rows came within --timeout, so no file was written; read them again, or give it longer")

// readSweep writes rows as they come. However long the whole takes, no piece may
// take longer than the timeout.
func readSweep(p *program, to *client.Client, request *bowrollv1.ReadSweepRequest, w io.Writer, report *report) (*bowrollv1.SweepFileSummary, error) {
	ctx, cancel := context.WithCancelCause(p.ctx)
	defer cancel(nil)
	silence := time.AfterFunc(p.line.Timeout, func() { cancel(errSilent) })
	defer silence.Stop()
	summary, err := gather.Rows(ctx, to, request, ownFile{w}, func(read int64) {
		silence.Reset(p.line.Timeout)
		report.say(sheet.Bytes(float64(read)))
	})
	switch {
	case err != nil && errors.Is(context.Cause(ctx), errSilent):
		return nil, errSilent
	case errors.Is(err, gather.ErrRowsCut), errors.Is(err, gather.ErrRowsDamaged):
		return nil, fmt.Errorf("%w; no file was written", err)
	}
	return summary, err
}

// ownFile is a file of the caller's, whose faults are theirs.
type ownFile struct{ io.Writer }

func (f ownFile) Write(b []byte) (int, error) {
	n, err := f.Writer.Write(b)
	if err != nil {
		err = badInput{err}
	}
	return n, err
}
