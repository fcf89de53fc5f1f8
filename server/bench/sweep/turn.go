package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// measure computes one sweep with n services over a schema of its own.
func measure(ctx context.Context, program, address string, n, rows int) (found turn, err error) {
	schema := fmt.Sprintf("sweep_%d", time.Now().UnixNano())
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return found, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, "CREATE SCHEMA "+schema); err != nil {
		return found, err
	}
	defer func() {
		_, dropped := conn.Exec(context.WithoutCancel(ctx), "DROP SCHEMA "+schema+" CASCADE")
		err = errors.Join(err, dropped)
	}()
	u, err := url.Parse(address)
	if err != nil {
		return found, err
	}
	q := u.Query()
	q.Set("search_path", schema)
	u.RawQuery = q.Encode()
	var all []*service
	defer func() {
		for _, s := range all {
			err = errors.Join(err, s.stop())
		}
		cpu := 0.0
		for _, s := range all {
			cpu += s.cpu
		}
		found.cpuPerRow = cpu / float64(rows)
	}()
	for range n {
		s, err := start(ctx, program, u.String())
		if err != nil {
			return found, err
		}
		all = append(all, s)
	}
	done, err := compute(ctx, all[0].conn, rows)
	if err != nil {
		return found, err
	}
	// From the first part's end to the last one's: how long services take to see
	// that there is work is theirs to sleep, not a rate.
	// Each service had a part in hand when the first ended; those are not counted.
	gone := done.GetEndTime().AsTime().Sub(done.GetStartTime().AsTime()).Seconds()
	found.rowsPerSecond = float64(done.GetRowCount()-int32(n)*done.GetChunkRowCount()) / gone
	return found, nil
}

// compute computes a sweep of the invented ship's deck, to its end.
func compute(ctx context.Context, conn *grpc.ClientConn, rows int) (*bowrollv1.Sweep, error) {
	c := bowrollv1.NewSweepsClient(conn)
	axis := func(field string, first, last float64, count int) *bowrollv1.SweepAxis {
		n := int32(count)
		return &bowrollv1.SweepAxis{Field: field, Range: &bowrollv1.SweepRange{FirstValue: &first, LastValue: &last, Count: &n}}
	}
	s, err := c.CreateSweep(ctx, &bowrollv1.CreateSweepRequest{
		Parent: "sites/varrow", SweepId: "load", Actor: "bench", RequestId: "create-load",
		Spec: &bowrollv1.SweepSpec{
			Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID, Columns: []string{"run_m", "margin_m"},
			Axes: []*bowrollv1.SweepAxis{axis("gross_mass_kg", 4800, 6600, max(2, rows/1000)), axis("headwind_mps", 0, 20, 1000)},
			Case: &bowrollv1.TakeoffCase{
				AircraftType: "aircraftTypes/corvane", Flap: "takeoff", Deck: "sites/varrow/decks/main", Spot: "s6",
				Air: &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(15)},
				Boosters: &bowrollv1.Boosters{
					Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
					Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
				},
			},
		},
	})
	for err == nil && s.GetState() <= bowrollv1.SweepState_SWEEP_STATE_RUNNING {
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
		s, err = c.GetSweep(ctx, &bowrollv1.GetSweepRequest{Name: s.GetName()})
	}
	if err == nil && s.GetState() != bowrollv1.SweepState_SWEEP_STATE_DONE {
		err = fmt.Errorf("the sweep is %v: %s", s.GetState(), s.GetReason())
	}
	return s, err
}

// service is one bowrolld.
type service struct {
	command *exec.Cmd
	conn    *grpc.ClientConn
	cpu     float64 // seconds that it took, once it has stopped
}

func start(ctx context.Context, program, address string) (*service, error) {
	s := &service{command: exec.CommandContext(ctx, program, "--grpc", "127.0.0.1:0", "--http", "", "--store", address, "--sweep-workers", "1")}
	s.command.Env = append(os.Environ(), "GOMAXPROCS=1")
	pipe, err := s.command.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := s.command.Start(); err != nil {
		return nil, err
	}
	said := ""
	for lines := bufio.NewScanner(pipe); lines.Scan(); said += lines.Text() + "\n" {
		var line struct{ Msg, Grpc string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "ready" {
			go func() {
				for lines.Scan() { // keep the pipe empty
				}
			}()
			s.conn, err = grpc.NewClient(line.Grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
			return s, err
		}
	}
	_ = s.command.Wait()
	return nil, fmt.Errorf("bowrolld did not start: %s", said)
}

// stop ends the service as a supervisor does.
func (s *service) stop() error {
	_ = s.conn.Close()
	if err := s.command.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	err := s.command.Wait()
	state := s.command.ProcessState
	s.cpu = (state.UserTime() + state.SystemTime()).Seconds()
	return err
}
