package main

import (
	"io"

	"bowroll/client"
	"bowroll/client/sheet"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

type firingCommand struct {
	caseFlags
	Points  int32  `help:"Rows of the table of the run against the command, 8 to 200." default:"17" placeholder:"N"`
	Samples *int32 `help:"Draws behind each row, 64 to 4000; 512 unless given." placeholder:"N"`
}

func (*firingCommand) Help() string {
	return `Plans the firing on the policy's percentile of the run, whatever firing the case has,
and says what it was compared with and what the run is for other moments of the
command. Examples:

  bowroll firing --case case.yaml
  bowroll roll --case case.yaml --chart firing=firing.svg   # the same as a picture`
}

func (c *firingCommand) Run(p *program) error {
	document, err := c.document(p)
	if err != nil {
		return err
	}
	if document.HasPath("boosters") && !document.HasPath("boosters.firing") {
		// The contract asks every case with units for a firing; this one's is searched for.
		document.Set("boosters.firing.mode", "best", "--firing")
	}
	asked, index, err := decode(document)
	if err != nil {
		return err
	}
	_, err = ask(p, "planning the firing",
		func(to *client.Client) (*bowrollv1.TakeoffsFindFiringResponse, error) {
			return to.Takeoffs.FindFiring(p.ctx, &bowrollv1.TakeoffsFindFiringRequest{Case: asked, PointCount: &c.Points, SampleCount: c.Samples})
		},
		func(w io.Writer, style sheet.Style, found *bowrollv1.TakeoffsFindFiringResponse) error {
			return sheet.FoundFiring(w, style, about(asked), found)
		})
	if err != nil {
		return refused{err, index, "case."}
	}
	return nil
}
