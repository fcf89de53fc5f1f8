package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"bowroll/client"
	"bowroll/client/sheet/chart"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A chartFile is one chart asked for and where it goes.
type chartFile struct {
	name, file string
	format     chart.Format
}

// chartFiles reads --chart NAME=FILE.
func chartFiles(asked map[string]string, known ...string) ([]chartFile, error) {
	var list []chartFile
	for _, name := range sortedKeys(asked) {
		if !slices.Contains(known, name) {
			return nil, badInput{fmt.Errorf("--chart %s: there is no such chart here; there are %s", name, strings.Join(known, ", "))}
		}
		format, err := chart.FormatOf(asked[name])
		if err != nil {
			return nil, badInput{fmt.Errorf("--chart %w", err)}
		}
		list = append(list, chartFile{name, asked[name], format})
	}
	return list, nil
}

// traceStep is how far apart the rows of a drawn run are, in seconds.
const traceStep = 0.05

// rollCharts asks for what the charts of a take-off need beyond its answer and
// returns how to draw each.
func (p *program) rollCharts(to *client.Client, files []chartFile, asked *bowrollv1.TakeoffCase, off *bowrollv1.Takeoff, report *report) (func() error, error) {
	draws := make([]func(io.Writer, chart.Style) error, len(files))
	for i, f := range files {
		report.say("what the chart " + f.name + " needs")
		switch f.name {
		case "run":
			step := traceStep
			trace, err := to.Takeoffs.Trace(p.ctx, &bowrollv1.TakeoffsTraceRequest{Case: asked, StepS: &step})
			if err != nil {
				return nil, err
			}
			draws[i] = func(w io.Writer, style chart.Style) error { return chart.Run(w, style, trace, off) }
		case "firing":
			found, err := to.Takeoffs.FindFiring(p.ctx, &bowrollv1.TakeoffsFindFiringRequest{Case: asked})
			if err != nil {
				return nil, err
			}
			draws[i] = func(w io.Writer, style chart.Style) error { return chart.Firing(w, style, found, off.AvailableM) }
		case "wind-units":
			limits, err := p.windForCounts(to, asked)
			if err != nil {
				return nil, err
			}
			draws[i] = func(w io.Writer, style chart.Style) error { return chart.WindAgainstUnits(w, style, limits) }
		}
	}
	return func() error {
		for i, f := range files {
			style := chart.Style{Format: f.format, Units: p.style().Units, About: about(asked)}
			if err := writeFile(f.file, func(w io.Writer) error { return draws[i](w, style) }); err != nil {
				return err
			}
		}
		return nil
	}, nil
}

// windForCounts asks for the least wind without units and with every loading of
// the type.
func (p *program) windForCounts(to *client.Client, asked *bowrollv1.TakeoffCase) (*bowrollv1.WindLimitsComputeResponse, error) {
	kind := asked.GetAircraft()
	if name := asked.GetAircraftType(); name != "" {
		var err error
		if kind, err = to.Catalog.GetAircraftType(p.ctx, &bowrollv1.GetAircraftTypeRequest{Name: name}); err != nil {
			return nil, err
		}
	}
	counts := []int32{0}
	if asked.GetBoosters() != nil {
		for _, l := range kind.GetLoadings() {
			counts = append(counts, l.GetUnitCount())
		}
	}
	slices.Sort(counts)
	return to.WindLimits.Compute(p.ctx, &bowrollv1.WindLimitsComputeRequest{Case: asked, UnitCounts: slices.Compact(counts),
		FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED})
}
