package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// inHand is how many requests of a stream are on the way at once.
const inHand = 64

// stream holds a stream of take-offs against the model computing the same ones
// with nothing around it, a core each, by processor time: what else the machine does
// counts for neither, and the rate beside it shows where the core waits. The bar is on questions as a planner asks
// them. A plain question is answered by the model in less time than gRPC takes to
// carry any message of its size there and back, so its share says what carrying
// costs and has no bar.
func stream(ctx context.Context, r *ring, p plan) ([]figure, error) {
	var list []figure
	for _, question := range []struct {
		name, kernel string
		bar          float64
	}{{"stream_vs_model", "planner", 0.7}, {"stream_plain_vs_model", "plain", 0}} {
		streamed := func() (turn, error) { return streamTurn(ctx, r.service, kernels[question.kernel](), p.turn) }
		alone := func() (turn, error) {
			seconds, err := kernelSeconds(r.kernel, question.kernel, p.turn)
			return turn{cpuMicroseconds: seconds * 1e6}, err
		}
		turns, err := inTurns(p.rounds, streamed, alone)
		if err != nil {
			return nil, err
		}
		list = append(list,
			figure{name: question.name, value: middle(p.rounds, func(i int) float64 { return turns[1][i].cpuMicroseconds / turns[0][i].cpuMicroseconds }), bar: question.bar, atLeast: true},
			figure{name: question.name[:len(question.name)-len("_vs_model")] + "_rate", value: middle(p.rounds, func(i int) float64 { return turns[0][i].perSecond }), unit: "/s"})
	}
	return list, nil
}

// streamTurn keeps a stream busy for so long.
func streamTurn(ctx context.Context, c *child, question *bowrollv1.TakeoffsComputeRequest, length time.Duration) (turn, error) {
	conn, err := dial(c)
	if err != nil {
		return turn{}, err
	}
	defer conn.Close()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s, err := bowrollv1.NewTakeoffsClient(conn).StreamCompute(ctx)
	if err != nil {
		return turn{}, err
	}
	req := &bowrollv1.TakeoffsStreamComputeRequest{Case: question.GetCase(), Sections: question.GetSections()}
	before, err := c.cpu()
	if err != nil {
		return turn{}, err
	}
	places := make(chan struct{}, inHand)
	sent := make(chan error, 1)
	ends := time.Now().Add(length)
	go func() {
		for time.Now().Before(ends) {
			select {
			case places <- struct{}{}:
			case <-ctx.Done():
				return
			}
			if err := s.Send(req); err != nil {
				sent <- err
				return
			}
		}
		sent <- s.CloseSend()
	}()
	// The clock runs from the first answer, so that connecting is not counted.
	var began, last time.Time
	count := 0
	for {
		answer, err := s.Recv()
		if err != nil {
			break
		}
		if code := answer.GetItem().GetStatus().GetCode(); code != "OK" {
			return turn{}, fmt.Errorf("a take-off of the stream is answered %s", code)
		}
		<-places
		if last = time.Now(); count == 0 {
			began = last
		}
		count++
	}
	if err := <-sent; err != nil {
		return turn{}, err
	}
	if count < 2 {
		return turn{}, errors.New("the stream answered nothing")
	}
	after, err := c.cpu()
	return turn{
		perSecond:       float64(count-1) / last.Sub(began).Seconds(),
		cpuMicroseconds: (after - before) / float64(count) * 1e6,
	}, err
}
