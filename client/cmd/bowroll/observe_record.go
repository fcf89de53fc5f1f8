package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
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
	runs, indexes, err := c.runs(p)
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
			made, err := c.record(p, to, id, run)
			if err != nil {
				return nil, refused{fmt.Errorf("run %d of %d, %s (%d recorded before it): %w", i+1, len(runs), run.GetName(), i, err), indexes[i], "observed_run."}
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

// runs reads the runs, each with where its values stand.
func (c *observeRecordCommand) runs(p *program) ([]*bowrollv1.ObservedRun, []*cycle.Index, error) {
	switch {
	case (c.File == "") == (len(c.Set) == 0):
		return nil, nil, badInput{errors.New("runs are read from a file, or one from --set: give one of the two")}
	case c.File == "":
		return c.single()
	}
	source, err := p.read(c.File)
	if err != nil {
		return nil, nil, err
	}
	if strings.HasSuffix(c.File, ".csv") {
		return readRunsCSV(c.File, source)
	}
	document, err := cycle.Parse(c.File, source)
	if err != nil {
		return nil, nil, err
	}
	list := &bowrollv1.ListObservedRunsResponse{}
	index, err := document.Decode(list)
	if err != nil {
		return nil, nil, err
	}
	indexes := make([]*cycle.Index, len(list.GetObservedRuns()))
	for i := range indexes {
		indexes[i] = index
	}
	return named(list.GetObservedRuns(), indexes)
}

// single makes one run of flags.
func (c *observeRecordCommand) single() ([]*bowrollv1.ObservedRun, []*cycle.Index, error) {
	document := cycle.New(commandLineName)
	for _, path := range sortedKeys(c.Set) {
		if err := document.Set(path, c.Set[path], "--set "+path); err != nil {
			return nil, nil, badInput{err}
		}
	}
	run := &bowrollv1.ObservedRun{}
	index, err := document.Decode(run)
	if err != nil {
		return nil, nil, err
	}
	return named([]*bowrollv1.ObservedRun{run}, []*cycle.Index{index})
}

// readRunsCSV reads a row as a document of its cells.
func readRunsCSV(file string, source []byte) ([]*bowrollv1.ObservedRun, []*cycle.Index, error) {
	r := csv.NewReader(strings.NewReader(string(source)))
	head, err := r.Read()
	if err != nil {
		return nil, nil, badInput{fmt.Errorf("%s: %w", file, err)}
	}
	var runs []*bowrollv1.ObservedRun
	var indexes []*cycle.Index
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return named(runs, indexes)
		}
		if err != nil {
			return nil, nil, badInput{fmt.Errorf("%s: %w", file, err)}
		}
		line, _ := r.FieldPos(0)
		document := cycle.New(file + ":" + strconv.Itoa(line))
		for i, cell := range cells {
			if cell == "" {
				continue // an empty cell is a value that is not given
			}
			if err := document.Set(head[i], cell, "column "+head[i]); err != nil {
				return nil, nil, badInput{fmt.Errorf("%s:%d: %w", file, line, err)}
			}
		}
		run := &bowrollv1.ObservedRun{}
		index, err := document.Decode(run)
		if err != nil {
			return nil, nil, err
		}
		runs, indexes = append(runs, run), append(indexes, index)
	}
}

// named refuses runs without a name.
func named(runs []*bowrollv1.ObservedRun, indexes []*cycle.Index) ([]*bowrollv1.ObservedRun, []*cycle.Index, error) {
	if len(runs) == 0 {
		return nil, nil, badInput{errors.New("there is no run to record: give a list observed_runs")}
	}
	for i, run := range runs {
		if run.GetName() == "" {
			return nil, nil, badInput{fmt.Errorf("run %d has no name: give each one, e.g. name: noon-1", i+1)}
		}
	}
	return runs, indexes, nil
}
