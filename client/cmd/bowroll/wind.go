package main

import (
	"io"
	"slices"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/client/sheet/chart"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type windCommand struct {
	caseFlags
	Counts        []int32 `help:"Numbers of units to answer, e.g. 0,2,4; the case's own otherwise." placeholder:"N"`
	FiringPlan    string  `help:"Whether the firing is ${enum} while the limit is searched." enum:"fixed,replanned,percentile" default:"replanned"`
	DirectionStep string  `help:"Draw the winds over deck that keep every limit, by direction, so far apart, e.g. \"15 deg\"." placeholder:"ANGLE"`
	Chart         string  `help:"Write a picture, of the winds over deck or of the table, to a file that ends in .svg or .png." placeholder:"FILE"`
	tableFlags
}

func (*windCommand) Help() string {
	return `The case is given as for roll; its wind is what is asked for, so none need be given.
With --table the answer is the table of a whole deck: what is not named is every one
the catalog knows. Examples:

  bowroll wind --case case.yaml --counts 0,2 --direction-step "15 deg" --chart wind.svg

  bowroll wind --table --deck sites/varrow/decks/main --temperature "59 degF" \
    --pressure "29.92 inHg" --booster-type emberlin-6 --grain-temperature "68 degF"

  bowroll wind --table --deck sites/varrow/decks/main --aircraft-type halbrook \
    --flap takeoff --spot s5 --masses "9,500 lb to 13,000 lb by 500 lb" \
    --temperatures "32 degF to 104 degF by 18 degF" --pressure "29.92 inHg" --csv winds.csv`
}

// envelopeStep is how far apart directions are in a picture where nobody says,
// degrees.
const envelopeStep = 1.0

func (c *windCommand) Run(p *program) error {
	if c.Table {
		return c.table(p)
	}
	if err := c.unused(); err != nil {
		return err
	}
	format, err := chartFormat(c.Chart)
	if err != nil {
		return err
	}
	document, err := c.document(p)
	if err != nil {
		return err
	}
	if !document.Has("headwind") && !document.Has("natural_wind") && !document.Has("deck_wind") {
		// The contract asks every case for a wind; this one's is searched for.
		document.Set("headwind", "0 m/s", "--headwind")
	}
	asked, index, err := decode(document)
	if err != nil {
		return err
	}
	request := &bowrollv1.WindLimitsComputeRequest{Case: asked, UnitCounts: c.Counts, FiringPlan: c.plan()}
	if c.DirectionStep != "" {
		step, err := quantity.Parse(quantity.Angle, c.DirectionStep)
		if err != nil {
			return cycle.Faults{{Place: cycle.Place{File: commandLineName, Flag: "--direction-step"}, Value: c.DirectionStep,
				Problem: "is not read as an angle", Allowed: "1 to 45 deg", Hint: `e.g. --direction-step "15 deg"`}}
		}
		request.DirectionStepDeg = &step
	} else if c.Chart != "" {
		step := envelopeStep
		request.DirectionStepDeg = &step
	}
	limits, err := ask(p, "searching the wind limits",
		func(to *client.Client) (*bowrollv1.WindLimitsComputeResponse, error) {
			return to.WindLimits.Compute(p.ctx, request)
		},
		func(w io.Writer, style sheet.Style, limits *bowrollv1.WindLimitsComputeResponse) error {
			shown := limits
			if c.DirectionStep == "" && c.Chart != "" {
				// The directions are for the picture alone.
				shown = withoutEnvelopes(limits)
			}
			return sheet.WindLimits(w, style, about(asked), shown)
		})
	switch {
	case err != nil:
		return refused{err, index, "case."}
	case c.Chart != "":
		style := chart.Style{Format: format, Units: p.style().Units, About: load(asked)}
		if err := writeFile(c.Chart, func(w io.Writer) error { return chart.Envelope(w, style, limits) }); err != nil {
			return err
		}
	}
	if !slices.ContainsFunc(limits.GetLimits(), func(l *bowrollv1.WindLimit) bool {
		return l.GetLeastHeadwindMps().GetState() != bowrollv1.LimitState_LIMIT_STATE_NONE
	}) {
		return errNothing
	}
	return nil
}

func (c *windCommand) plan() bowrollv1.FiringPlan {
	switch c.FiringPlan {
	case "fixed":
		return bowrollv1.FiringPlan_FIRING_PLAN_FIXED
	case "percentile":
		return bowrollv1.FiringPlan_FIRING_PLAN_PERCENTILE
	}
	return bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED
}
