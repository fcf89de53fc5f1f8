package main

import (
	"io"
	"maps"
	"slices"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type rollCommand struct {
	caseFlags
	Also  []string          `help:"What else to answer: ${enum}. drop-zone and circuit need boosters.release and boosters.firing_supply in the case." enum:"box,drop-zone,exhaust,circuit" placeholder:"PART,..."`
	Chart map[string]string `help:"Draw a chart into a file that ends in .svg or .png: run (speed and thrust along the deck), firing (the run against the moment of firing) or wind-units (the least wind for each number of units)." placeholder:"NAME=FILE"`
}

func (*rollCommand) Help() string {
	return `Examples:

  bowroll roll --aircraft-type corvane --flap takeoff --gross-mass "12,900 lb" \
    --deck sites/varrow/decks/main --spot s3 --headwind "34 kt" \
    --temperature "79 degF" --pressure "29.83 inHg" \
    --boosters 2 --booster-type emberlin-6 --grain-temperature "68 degF" --firing best

  bowroll roll --case case.yaml --headwind "28 kt" --chart run=run.svg`
}

// everything is what a take-off is asked for in any case.
var everything = []bowrollv1.Section{
	bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING,
	bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_WORTH,
}

// alsoSections are the parts that are answered on request only.
var alsoSections = map[string]bowrollv1.Section{
	"box": bowrollv1.Section_SECTION_BOX, "drop-zone": bowrollv1.Section_SECTION_DROP_ZONE,
	"exhaust": bowrollv1.Section_SECTION_EXHAUST, "circuit": bowrollv1.Section_SECTION_CIRCUIT,
}

func (c *rollCommand) Run(p *program) error {
	charts, err := chartFiles(c.Chart, "run", "firing", "wind-units")
	if err != nil {
		return err
	}
	document, err := c.document(p)
	if err != nil {
		return err
	}
	asked, index, err := decode(document)
	if err != nil {
		return err
	}
	request := &bowrollv1.TakeoffsComputeRequest{Case: asked, Sections: slices.Clone(everything)}
	for _, part := range c.Also {
		if section := alsoSections[part]; !slices.Contains(request.Sections, section) {
			request.Sections = append(request.Sections, section)
		}
	}
	if len(charts) > 0 {
		request.Sections = append(request.Sections, bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_CHANCE)
	}
	var draw func() error
	report := newReport("computing the take-off")
	report.several = len(charts) > 0
	off, err := askTelling(p, report,
		func(to *client.Client) (off *bowrollv1.Takeoff, err error) {
			if off, err = to.Takeoffs.Compute(p.ctx, request); err == nil {
				draw, err = p.rollCharts(to, charts, asked, off, report)
			}
			return off, err
		},
		func(w io.Writer, style sheet.Style, off *bowrollv1.Takeoff) error {
			return sheet.Takeoff(w, style, about(asked), off)
		})
	if err != nil {
		return refused{err, index, "case."}
	}
	if err := draw(); err != nil {
		return err
	}
	if !launchable(off.GetOutcome()) {
		return errNothing
	}
	return nil
}

// launchable reports whether an outcome leaves the launch to judgement. Every
// outcome that this program does not know stops it.
func launchable(o bowrollv1.Outcome) bool {
	switch o {
	case bowrollv1.Outcome_OUTCOME_GETS_OFF, bowrollv1.Outcome_OUTCOME_MARGINAL,
		bowrollv1.Outcome_OUTCOME_NOT_WORTH_FITTING, bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION:
		return true
	}
	return false
}

func sortedKeys(m map[string]string) []string { return slices.Sorted(maps.Keys(m)) }
