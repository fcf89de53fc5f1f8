package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/rogpeppe/go-internal/testscript"
	"go.uber.org/zap"
	"google.golang.org/protobuf/encoding/protojson"

	"bowroll/perf/allocate/rival"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"bowroll": main})
}

// TestScripts runs the command as people do. $CYCLES, $VECTORS are the files of
// the project, $SERVER is a service on a loopback address, $NOBODY one where
// none answers.
func TestScripts(t *testing.T) {
	root, err := filepath.Abs("../../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	address := serve(t)
	scripts, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil || len(scripts) < 10 {
		t.Fatal(scripts, err)
	}
	if testing.Short() {
		// Under the race detector every line of a script starts a slow program.
		scripts = []string{"testdata/script/plan.txtar", "testdata/script/network.txtar"}
	}
	testscript.Run(t, testscript.Params{
		Files: scripts,
		Setup: func(env *testscript.Env) error {
			env.Setenv("CYCLES", filepath.Join(root, "cycles"))
			env.Setenv("FLEETS", filepath.Join(root, "fleets"))
			env.Setenv("VECTORS", filepath.Join(root, "vectors"))
			env.Setenv("OBSERVED", filepath.Join(root, "observed"))
			env.Setenv("SWEEPS", filepath.Join(root, "sweeps"))
			env.Setenv("SERVER", address)
			env.Setenv("NOBODY", "127.0.0.1:1")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "solved": solved},
	})
}

// exits runs a command that must end with a given code: exits 2 bowroll plan x.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits code command [args...]")
	}
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		failed := &exec.ExitError{}
		if !errors.As(err, &failed) {
			ts.Fatalf("%v", err)
		}
		code = failed.ExitCode()
	}
	if strconv.Itoa(code) != args[0] {
		ts.Fatalf("exit code %d, want %s", code, args[0])
	}
}

// solved gives the stages in a folder to solvers of others, which must find the
// values that the plan has: solved plan.json folder.
func solved(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: solved plan.json folder")
	}
	plan := &bowrollv1.CyclePlan{}
	ts.Check(protojson.Unmarshal([]byte(ts.ReadFile(args[0])), plan))
	if len(plan.GetLevels()) == 0 {
		ts.Fatalf("the plan has no levels")
	}
	for _, solver := range []*rival.Solver{rival.Cbc(), rival.Glpsol()} {
		if err := solver.Find(); err != nil {
			if os.Getenv("CI") == "true" || !errors.Is(err, rival.ErrAbsent) {
				ts.Fatalf("%v", err)
			}
			ts.Logf("not checked: %v", err)
			continue
		}
		for i, level := range plan.GetLevels() {
			lp := ts.ReadFile(filepath.Join(args[1], fmt.Sprintf("stage%d.lp", i+1)))
			answer, err := solver.Solve(context.Background(), []byte(lp), ts.MkAbs("."), 60)
			ts.Check(err)
			want := level.GetValue()
			if level.GetName() == "margin_m" {
				want *= 1000 // the stages count millimetres
			}
			if !answer.Decided || answer.Value != int64(math.Round(want)) {
				ts.Fatalf("%s, stage %d: %s says %+v, the plan has %v", args[0], i+1, solver.Name, answer, want)
			}
		}
	}
}

// serve runs the whole service on a loopback address until the test ends.
func serve(t *testing.T) (address string) {
	t.Helper()
	catalog, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		GRPCAddress: "127.0.0.1:0", Grace: time.Second,
		Log: zap.NewNop(), NewID: assembly.NewID, Registry: prometheus.NewRegistry(),
	}, catalog)
	if err != nil {
		t.Fatal(err)
	}
	return running(t, s)
}

// running runs a service until the test ends and returns where gRPC listens.
func running(t testing.TB, s *server.Server) string {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan server.Addresses, 1), make(chan error, 1)
	go func() { ended <- s.Run(ctx, func(at server.Addresses) { ready <- at }) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	select {
	case at := <-ready:
		return at.GRPC
	case err := <-ended:
		ended <- nil
		t.Fatal(err)
	}
	return ""
}
