package rpc

import (
	"context"
	"errors"
	"io"
	"strconv"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// Takeoffs answers bowroll.v1.Takeoffs. It keeps no state.
type Takeoffs struct {
	bowrollv1.UnimplementedTakeoffsServer
	resolver  resolver
	workers   int
	revisions catalogRevisions // nil where no earlier ones are kept
}

// NewTakeoffs computes with the catalog given, a batch on as many goroutines as
// workers says (at least one). How many there are changes no answer.
func NewTakeoffs(validator protovalidate.Validator, snapshot *catalog.Snapshot, workers int) *Takeoffs {
	return &Takeoffs{resolver: newResolver(validator, snapshot, workers), workers: max(1, workers)}
}

// Compute answers one take-off.
func (t *Takeoffs) Compute(ctx context.Context, req *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
	answer, found, err := t.one(ctx, "case", req.GetCase(), req.GetSections())
	if err != nil {
		return nil, err
	}
	return answer, refusal.Invalid(found)
}

// one resolves and computes one case; faults are the case's, an error the
// service's or the caller's patience.
func (t *Takeoffs) one(ctx context.Context, prefix string, c *bowrollv1.TakeoffCase, sections []bowrollv1.Section) (*bowrollv1.Takeoff, []*bowrollv1.Violation, error) {
	if err := ctx.Err(); err != nil {
		return nil, nil, status.FromContextError(err).Err()
	}
	return t.resolver.computeTakeoff(ctx, prefix, c, sectionSet(sections))
}

// BatchCompute answers many take-offs, each with a status of its own.
func (t *Takeoffs) BatchCompute(ctx context.Context, req *bowrollv1.TakeoffsBatchComputeRequest) (*bowrollv1.TakeoffsBatchComputeResponse, error) {
	t, err := t.at(ctx, req.GetCatalogRevision())
	if err != nil {
		return nil, err
	}
	cases := req.GetCases()
	items := make([]*bowrollv1.TakeoffItem, len(cases))
	repeated := repeatedIDs(cases)
	err = parallel(ctx, t.workers, len(cases), func(i int) error {
		item := &bowrollv1.TakeoffItem{Index: int32(i), Id: cases[i].GetId()}
		prefix := "cases[" + strconv.Itoa(i) + "]"
		answer, found, err := t.one(ctx, prefix, cases[i], req.GetSections())
		if err != nil {
			return err
		}
		if first, again := repeated[i]; again {
			found = append(found, &bowrollv1.Violation{
				Field: prefix + ".id", Value: strconv.Quote(cases[i].GetId()), Rule: "unique",
				Allowed: "an id of its own", Hint: "cases[" + strconv.Itoa(first) + "] has it",
			})
			answer = nil
		}
		item.Status, item.Takeoff = refusal.Item(found), answer
		items[i] = item
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &bowrollv1.TakeoffsBatchComputeResponse{
		Items:      items,
		Summary:    summary(items),
		Provenance: provenance(t.resolver.catalog, req),
	}, nil
}

// repeatedIDs maps the index of each case whose id stood before to the index
// where it stood first.
func repeatedIDs(cases []*bowrollv1.TakeoffCase) map[int]int {
	first := make(map[string]int, len(cases))
	repeated := map[int]int{}
	for i, c := range cases {
		if c.GetId() == "" {
			continue
		}
		if j, seen := first[c.GetId()]; seen {
			repeated[i] = j
			continue
		}
		first[c.GetId()] = i
	}
	return repeated
}

func summary(items []*bowrollv1.TakeoffItem) *bowrollv1.BatchSummary {
	s := &bowrollv1.BatchSummary{ItemCount: int32(len(items))}
	for _, item := range items {
		switch {
		case item.GetTakeoff() == nil:
			s.RefusedCount++
		default:
			s.AnsweredCount++
			if goes(item.GetTakeoff().GetOutcome()) {
				s.GetsOffCount++
			}
		}
	}
	return s
}

// goes tells whether an aircraft with this worst outcome may be launched.
func goes(o bowrollv1.Outcome) bool {
	return o == bowrollv1.Outcome_OUTCOME_GETS_OFF || o == bowrollv1.Outcome_OUTCOME_MARGINAL
}

// StreamCompute answers take-offs in the order sent.
func (t *Takeoffs) StreamCompute(stream grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
	for index := int32(0); ; index++ {
		req, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		answer, found, err := t.one(stream.Context(), "case", req.GetCase(), req.GetSections())
		if err != nil {
			return err
		}
		item := &bowrollv1.TakeoffItem{
			Index: index, Id: req.GetCase().GetId(), Status: refusal.Item(found), Takeoff: answer,
		}
		if err := stream.Send(&bowrollv1.TakeoffsStreamComputeResponse{Item: item}); err != nil {
			return err
		}
	}
}

// maxTraceRows keeps an answer inside the message limit.
const maxTraceRows = 20000

// Trace returns the time history of one take-off.
func (t *Takeoffs) Trace(ctx context.Context, req *bowrollv1.TakeoffsTraceRequest) (*bowrollv1.TakeoffsTraceResponse, error) {
	res, found, err := t.resolver.resolve("case", req.GetCase())
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	run, found, err := t.resolver.prepare(ctx, "case", res)
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	roll := run.runner.Roll(&run.schedule)
	if rows := roll.TimeS / req.GetStepS(); rows > maxTraceRows {
		return nil, refusal.Invalid([]*bowrollv1.Violation{{
			Field: "step_s", Value: number(req.GetStepS()), Rule: "rows",
			Allowed: "at least " + number(roll.TimeS/maxTraceRows) + " s for this run of " + number(roll.TimeS) + " s",
			Hint:    "an answer holds " + strconv.Itoa(maxTraceRows) + " rows",
		}})
	}
	out := traceAnswer(run, req.GetStepS())
	out.Roll = new(slab).rollAnswer(&roll)
	out.Provenance = provenance(t.resolver.catalog, res.Case, req)
	return out, nil
}

// traceAnswer puts the history into columns.
func traceAnswer(run *run, stepS float64) *bowrollv1.TakeoffsTraceResponse {
	out := new(bowrollv1.TakeoffsTraceResponse)
	for _, s := range run.runner.Trace(nil, &run.schedule, stepS) {
		out.TimeS = append(out.TimeS, s.TimeS)
		out.DistanceM = append(out.DistanceM, s.DistanceM)
		out.GroundSpeedMps = append(out.GroundSpeedMps, s.GroundSpeedMPS)
		out.AirspeedMps = append(out.AirspeedMps, s.AirspeedMPS)
		out.AccelerationMps2 = append(out.AccelerationMps2, s.AccelerationMPS2)
		out.EngineThrustN = append(out.EngineThrustN, s.ThrustN)
		out.BoosterThrustN = append(out.BoosterThrustN, s.BoosterN)
		out.WheelLoadN = append(out.WheelLoadN, s.WheelLoadN)
		out.MassKg = append(out.MassKg, s.MassKG)
		out.LiftoffAirspeedMps = append(out.LiftoffAirspeedMps, run.runner.LiftoffAirspeedMPS(s.MassKG))
	}
	return out
}

// parallel calls work for 0 to n-1 on a number of goroutines and returns the
// error of the lowest index that had one. It stops early when ctx ends.
func parallel(ctx context.Context, workers, n int, work func(i int) error) error {
	workers = min(workers, n)
	fail := make([]error, n)
	var next sync.Mutex
	at := 0
	take := func() (int, bool) {
		next.Lock()
		defer next.Unlock()
		if at >= n || ctx.Err() != nil {
			return 0, false
		}
		at++
		return at - 1, true
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i, ok := take(); ok; i, ok = take() {
				fail[i] = guard(func() error { return work(i) })
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return status.FromContextError(err).Err()
	}
	for _, err := range fail {
		if err != nil {
			return err
		}
	}
	return nil
}

// guard turns a panic of one item into an error, since a panic on a goroutine of
// ours would pass the server's own recovery by and end the process.
func guard(work func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = status.Errorf(codes.Internal, "computation failed: %v", p)
		}
	}()
	return work()
}
