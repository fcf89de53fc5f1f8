package main

import (
	"io"
	"slices"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type windCommand struct {
	caseFlags
	Counts        []int32 `help:"Numbers of units to answer, e.g. 0,2,4; the case's own otherwise." placeholder:"N,…"`
	FiringPlan    string  `help:"Whether the firing is ${enum} while the limit is searched." enum:"fixed,replanned" default:"replanned"`
	DirectionStep string  `help:"Draw the winds over deck that keep every limit, by direction, so far apart, e.g. \"15 deg\"." placeholder:"ANGLE"`
}

func (*windCommand) Help() string {
	return `The case is given as for roll; its wind is what is asked for, so none need be given.
Example:

  bowroll wind --case case.yaml --counts 0,2 --direction-step "15 deg"`
}

func (c *windCommand) Run(p *program) error {
	document, err := c.document(p)
	if err != nil {
		return err
	}
	if !document.Has("headwind") && !document.Has("natural_wind") && !document.Has("deck_wind") {
		// The contract asks every case for a wind; this one's is searched for.
		if err := document.Set("headwind", "0 m/s", "--headwind"); err != nil {
			return badInput{err}
		}
	}
	asked, index, err := decode(document)
	if err != nil {
		return err
	}
	request := &bowrollv1.WindLimitsComputeRequest{Case: asked, UnitCounts: c.Counts, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED}
	if c.FiringPlan == "fixed" {
		request.FiringPlan = bowrollv1.FiringPlan_FIRING_PLAN_FIXED
	}
	if c.DirectionStep != "" {
		step, err := quantity.Parse(quantity.Angle, c.DirectionStep)
		if err != nil {
			return cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--direction-step"}, Value: c.DirectionStep,
				Problem: "is not read as an angle", Allowed: "1 to 45 deg", Hint: `e.g. --direction-step "15 deg"`}}
		}
		request.DirectionStepDeg = &step
	}
	limits, err := ask(p, "searching the wind limits",
		func(to *client.Client) (*bowrollv1.WindLimitsComputeResponse, error) {
			return to.WindLimits.Compute(p.ctx, request)
		},
		func(w io.Writer, style sheet.Style, limits *bowrollv1.WindLimitsComputeResponse) error {
			return sheet.WindLimits(w, style, about(asked), limits)
		})
	switch {
	case err != nil:
		return refused{err, index, "case."}
	case !slices.ContainsFunc(limits.GetLimits(), func(l *bowrollv1.WindLimit) bool {
		return l.GetLeastHeadwindMps().GetState() != bowrollv1.LimitState_LIMIT_STATE_NONE
	}):
		return errNothing
	}
	return nil
}
