package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"bowroll/client"
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

// errFileCut says that a file ended before its summary.
var errFileCut = errors.New("the rows broke off before their end, so no file was written; read them again")

// errSilent says that nothing came for too long.
var errSilent = errors.New("no rows came within --timeout, so no file was written; read them again, or give it longer")

// readSweep writes rows as they come and holds them against their sum. However
// long the whole takes, no piece may take longer than the timeout.
func readSweep(p *program, to *client.Client, request *bowrollv1.ReadSweepRequest, w io.Writer, report *report) (*bowrollv1.SweepFileSummary, error) {
	ctx, cancel := context.WithCancelCause(p.ctx)
	defer cancel(nil)
	silence := time.AfterFunc(p.line.Timeout, func() { cancel(errSilent) })
	defer silence.Stop()
	stream, err := to.Sweeps.ReadSweep(ctx, request)
	if err != nil {
		return nil, err
	}
	sum, read := sha256.New(), 0
	out := io.MultiWriter(w, sum)
	for {
		piece, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return nil, errFileCut
		case err != nil && errors.Is(context.Cause(ctx), errSilent):
			return nil, errSilent
		case err != nil:
			return nil, err
		}
		silence.Reset(p.line.Timeout)
		if summary := piece.GetSummary(); summary != nil {
			if got := hex.EncodeToString(sum.Sum(nil)); got != summary.GetSha256() {
				return nil, fmt.Errorf("the rows came damaged, so no file was written: their sum is %s, the service names %s; read them again", got, summary.GetSha256())
			}
			return summary, nil
		}
		if _, err := out.Write(piece.GetContent()); err != nil {
			return nil, badInput{err}
		}
		read += len(piece.GetContent())
		report.say(sheet.Bytes(float64(read)))
	}
}
