package gather

import (
	"context"
	"errors"
	"io"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// ErrCut says that a plan's stream ended, and not in an error, before its plan.
var ErrCut = errors.New("the service ended the answer before its plan: ask again")

// Plan plans a cycle over the stream and reads it to its end: the plan counts once
// the stream is over without an error. tell is told how far the plan is, each time
// the service says so, and may be nil. The deadline is that of ctx: streams have
// none of the client's. Errors are those of the call, or [ErrCut].
func Plan(ctx context.Context, to *client.Client, request *bowrollv1.CyclesPlanRequest, tell func(*bowrollv1.PlanProgress)) (*bowrollv1.CyclePlan, error) {
	stream, err := to.Cycles.PlanStream(ctx, request)
	if err != nil {
		return nil, err
	}
	var plan *bowrollv1.CyclePlan
	for {
		answer, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF) && plan != nil:
			return plan, nil
		case errors.Is(err, io.EOF):
			return nil, ErrCut
		case err != nil:
			return nil, err
		case answer.GetItem() != nil:
			plan = answer.GetItem()
		case tell != nil && answer.GetProgress() != nil:
			tell(answer.GetProgress())
		}
	}
}
