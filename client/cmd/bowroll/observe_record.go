package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type observeRecordCommand struct {
	Site string            `arg:"" help:"Site, e.g. varrow."`
	File string            `arg:"" optional:"" help:"File of runs, YAML (a list observed_runs) or CSV (a column for each key, a row for each run); - reads YAML from standard input."`
	Set  map[string]string `help:"Record one run from keys alone, e.g. --set name=noon-1 --set conditions.gross_mass=\"12,000 lb\"." placeholder:"KEY=VALUE"`
	actFlags
}

func (*observeRecordCommand) Help() string {
	return `Every value carries its unit: "210 ft", "24 kt", "3.4 s". A run has a name, its
conditions as a case file has them, launch_time, what was measured (liftoff_distance,
liftoff_time, liftoff_airspeed) and an observer. A CSV file has the same keys as columns,
nested ones with dots: conditions.gross_mass, conditions.boosters.firing.delay. Runs are
recorded one by one, each once: the same file again changes nothing.`
}

func (c *observeRecordCommand) Run(p *program) error {
	p.changing = true
	runs, err := c.runs(p)
	if err != nil {
		return err
	}
	base := c.RequestID
	last := &bowrollv1.ListObservedRunsResponse{}
	_, err = change(p, c.actFlags, "recording "+count(len(runs), "run"), func(to *client.Client, id string) (*bowrollv1.ListObservedRunsResponse, error) {
		if base == "" {
			id = "" // each run has an id of its own, so that a file sent again changes nothing
		}
		for i, run := range runs {
			made, err := c.record(p, to, id, run.Run)
			if err != nil {
				return nil, refused{fmt.Errorf("run %d of %d, %s (%d recorded before it): %w", i+1, len(runs), run.Run.GetName(), i, err), run.Index, "observed_run."}
			}
			last.ObservedRuns, last.Provenance = append(last.ObservedRuns, made), made.GetProvenance()
		}
		return last, nil
	}, func(w io.Writer, style sheet.Style, answer *bowrollv1.ListObservedRunsResponse) error {
		return sheet.ObservedRuns(w, style, siteName(c.Site), answer.GetObservedRuns())
	})
	return err
}

// record records one run under an id that stands for it.
func (c *observeRecordCommand) record(p *program, to *client.Client, id string, run *bowrollv1.ObservedRun) (*bowrollv1.ObservedRun, error) {
	name := run.GetName()[strings.LastIndexByte(run.GetName(), '/')+1:]
	run = proto.CloneOf(run)
	run.Name = ""
	tag := ""
	if run.GetSupersedes() != "" {
		run.Supersedes = childName(c.Site, "observedRuns", run.GetSupersedes())
		old, err := to.Observations.GetObservedRun(p.ctx, &bowrollv1.GetObservedRunRequest{Name: run.GetSupersedes()})
		if err != nil {
			return nil, err
		}
		tag = old.GetEtag()
		if old.GetSupersededBy() == childName(c.Site, "observedRuns", name) {
			tag = "e1" // recorded already: this is the same request again
		}
	}
	request := "observed-" + name
	if id != "" {
		request = id + "-" + name
	}
	return to.Observations.RecordRun(p.ctx, &bowrollv1.RecordRunRequest{
		Parent: siteName(c.Site), ObservedRunId: name, ObservedRun: run, Etag: tag, Actor: c.Actor, RequestId: request[:min(len(request), 64)],
	})
}

// runs reads the runs.
func (c *observeRecordCommand) runs(p *program) ([]cycle.ObservedRun, error) {
	switch {
	case (c.File == "") == (len(c.Set) == 0):
		return nil, badInput{errors.New("runs are read from a file, or one from --set: give one of the two")}
	case c.File == "":
		run, err := cycle.ReadRunKeys(commandLineName, "--set", c.Set)
		return []cycle.ObservedRun{run}, err
	}
	source, err := p.read(c.File)
	if err != nil {
		return nil, err
	}
	if strings.HasSuffix(c.File, ".csv") {
		return cycle.ReadRunsCSV(c.File, source)
	}
	return cycle.ReadRuns(c.File, source)
}
