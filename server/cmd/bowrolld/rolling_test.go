package main

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"

	bowrollv1 "bowroll/proto/bowroll/v1"

	"bowroll/testdata/longer"
)

// TestRollingRestart replaces two services over one PostgreSQL database in turn
// while callers that take turns between them save plans and read them back. No
// call may fail, without any retry of the callers' own.
func TestRollingRestart(t *testing.T) {
	store := ownSchema(t)
	restarts := 6
	if testing.Short() {
		restarts = 2
	}
	restarts = longer.Count(t, "BOWROLL_RESTARTS", restarts)
	running := []*child{startBowrolld(t, store), startBowrolld(t, store)}
	names := manual.NewBuilderWithScheme("rolling")
	// state is who serves, as a name service says it.
	state := func(serving ...*child) (s resolver.State) {
		for _, c := range serving {
			s.Addresses = append(s.Addresses, resolver.Address{Addr: c.conn.Target()})
		}
		return s
	}
	names.InitialState(state(running...))
	conn, err := grpc.NewClient("rolling:///bowrolld", grpc.WithResolvers(names), grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDisableRetry(), grpc.WithDefaultServiceConfig(`{"loadBalancingConfig": [{"round_robin": {}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()

	ctx, stop := context.WithCancel(context.Background())
	var all sync.WaitGroup
	var answered, failed atomic.Int64
	plans := bowrollv1.NewPlansClient(conn)
	for caller := range 8 {
		all.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				call, cancel := context.WithTimeout(context.Background(), 10*time.Second)
				id := fmt.Sprintf("r%d-%d", caller, n)
				_, err := plans.CreatePlan(call, killPlan(id))
				if err == nil {
					_, err = plans.GetPlan(call, &bowrollv1.GetPlanRequest{Name: "sites/varrow/plans/" + id})
				}
				cancel()
				if err != nil {
					failed.Add(1)
					t.Errorf("%s: %v", id, err)
					return
				}
				answered.Add(2)
			}
		})
	}
	for n := range restarts {
		old := running[n%2]
		fresh := startBowrolld(t, store)
		names.UpdateState(state(running[0], running[1], fresh))
		time.Sleep(200 * time.Millisecond)
		// The old one is told to end while callers still know it.
		if err := old.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		if err := old.cmd.Wait(); err != nil {
			t.Errorf("restart %d: %v", n, err)
		}
		old.conn.Close()
		running[n%2] = fresh
		names.UpdateState(state(running...))
	}
	stop()
	all.Wait()
	for _, c := range running {
		c.kill()
	}
	t.Logf("%d restarts, %d calls answered, %d failed", restarts, answered.Load(), failed.Load())
	if answered.Load() == 0 {
		t.Error("nothing was answered")
	}
}
