package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// workers is how many callers there are, on so many connections; where all still
// wait when a call is due, it is late and is not asked.
const (
	workers     = 2000
	connections = 8
)

// load asks one service. Whoever asks for its health does so on a connection of
// its own, as a balancer would.
type load struct {
	conns  []*grpc.ClientConn
	health *grpc.ClientConn
	pid    int
	// asked is what every call asks; calls only read it.
	asked *bowrollv1.TakeoffsFindFiringRequest
}

func newLoad(address string, pid int) (*load, error) {
	l := &load{pid: pid, asked: request()}
	for range connections + 1 {
		conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithDisableRetry())
		if err != nil {
			return nil, err
		}
		l.conns = append(l.conns, conn)
	}
	l.conns, l.health = l.conns[:connections], l.conns[connections]
	return l, nil
}

func (l *load) close() {
	for _, c := range l.conns {
		_ = c.Close()
	}
	_ = l.health.Close()
}

// request asks when to fire two units for a launch off the invented ship's deck:
// heavy enough that one core of callers outruns one core of service.
func request() *bowrollv1.TakeoffsFindFiringRequest {
	return &bowrollv1.TakeoffsFindFiringRequest{Case: &bowrollv1.TakeoffCase{
		Id: "load", AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", GrossMassKg: proto.Float64(4800),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: proto.Float64(28)},
		HeadwindMps: proto.Float64(9), Deck: "sites/varrow/decks/main", Spot: "s5",
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
		},
	}, PointCount: proto.Int32(8), SampleCount: proto.Int32(64)}
}

// closed returns how many calls a second two callers get answered that ask again
// at once: as many as the service takes on.
func (l *load) closed(ctx context.Context, turn time.Duration) (perSecond float64, err error) {
	var calls atomic.Int64
	var all sync.WaitGroup
	failed := make(chan error, 2)
	began := time.Now()
	for i := range 2 {
		all.Go(func() {
			client := bowrollv1.NewTakeoffsClient(l.conns[i%len(l.conns)])
			for time.Since(began) < turn {
				switch _, err := client.FindFiring(ctx, l.asked); {
				case err == nil:
					calls.Add(1)
				case status.Code(err) != codes.ResourceExhausted:
					failed <- err
					return
				}
			}
		})
	}
	all.Wait()
	select {
	case err = <-failed:
	default:
	}
	return float64(calls.Load()) / time.Since(began).Seconds(), err
}

// result is what came of a load.
type result struct {
	asked, served float64 // a second
	servedByCPU   float64 // for each second of the service's processor time
	p99           float64 // of those served, seconds
	health        float64 // 99 % of health checks took at most, seconds
	memory        float64 // most resident bytes
	bare          int64   // refusals that did not say when to ask again
}

// open asks at a fixed rate for a while.
func (l *load) open(ctx context.Context, perSecond float64, turn time.Duration) (result, error) {
	time.Sleep(200 * time.Millisecond) // let the last load drain
	start, spent := time.Now(), processor(l.pid)
	var (
		due          = make(chan struct{}, workers)
		all          sync.WaitGroup
		lock         sync.Mutex
		served       []float64
		asked, bare  atomic.Int64
		inTime       atomic.Int64
		failed       = make(chan error, workers)
		watch, ended = context.WithCancel(ctx)
	)
	for i := range workers {
		all.Go(func() {
			client := bowrollv1.NewTakeoffsClient(l.conns[i%len(l.conns)])
			var mine []float64
			for range due {
				asked.Add(1)
				began := time.Now()
				_, err := client.FindFiring(ctx, l.asked)
				took := time.Since(began).Seconds()
				switch {
				case err == nil:
					mine = append(mine, took)
					if time.Since(start) < turn {
						inTime.Add(1)
					}
				case status.Code(err) != codes.ResourceExhausted:
					failed <- err
				default:
					if _, ok := refusal.Retry(err); !ok {
						bare.Add(1)
					}
				}
			}
			lock.Lock()
			defer lock.Unlock()
			served = append(served, mine...)
		})
	}
	var r result
	var side sync.WaitGroup
	side.Go(func() { r.health, r.memory = l.look(watch) })
	sent := 0.0
	for elapsed := time.Duration(0); elapsed < turn; elapsed = time.Since(start) {
		for ; sent < perSecond*elapsed.Seconds(); sent++ {
			select {
			case due <- struct{}{}:
			default: // every caller waits: this call is late
			}
		}
		time.Sleep(500 * time.Microsecond)
	}
	took := time.Since(start).Seconds()
	inTurn, spent := float64(inTime.Load()), processor(l.pid)-spent
	close(due)
	all.Wait()
	ended()
	side.Wait()
	select {
	case err := <-failed:
		return r, err
	default:
	}
	if len(served) == 0 {
		return r, errors.New("nothing was served")
	}
	slices.Sort(served)
	r.asked, r.served, r.p99, r.bare = float64(asked.Load())/took, inTurn/took, served[len(served)*99/100], bare.Load()
	if spent > 0 {
		r.servedByCPU = inTurn / spent
	}
	return r, nil
}

// look asks for the service's health and its memory until ctx ends.
func (l *load) look(ctx context.Context) (p99, memory float64) {
	client := healthpb.NewHealthClient(l.health)
	var took []float64
	for ctx.Err() == nil {
		began := time.Now()
		if _, err := client.Check(ctx, &healthpb.HealthCheckRequest{}); err == nil {
			took = append(took, time.Since(began).Seconds())
		}
		memory = max(memory, resident(l.pid))
		time.Sleep(20 * time.Millisecond)
	}
	if len(took) > 0 {
		slices.Sort(took)
		p99 = took[len(took)*99/100]
	}
	return p99, memory
}

// processor is the processor time that a process has used, in seconds; 0 where
// that is not told.
func processor(pid int) float64 {
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	if err != nil {
		return 0
	}
	var all float64
	for _, thread := range threads {
		text, err := os.ReadFile(thread)
		var ran float64
		if err == nil {
			_, err = fmt.Sscan(string(text), &ran)
		}
		if err == nil { // a thread may have ended meanwhile
			all += ran / 1e9
		}
	}
	return all
}

// resident is the memory that a process holds, in bytes; 0 where that is not told.
func resident(pid int) float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	if err != nil {
		return 0
	}
	var size, pages float64
	if _, err := fmt.Sscan(strings.TrimSpace(string(text)), &size, &pages); err != nil {
		return 0
	}
	return pages * float64(os.Getpagesize())
}
