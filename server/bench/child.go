package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strconv"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
)

// child is a server in a process of its own.
type child struct {
	command *exec.Cmd
	stdin   io.Closer
	address string
}

// startChild starts this program again as a server and waits for its address.
func startChild(ctx context.Context, kind string) (*child, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := &child{command: exec.CommandContext(ctx, self, "-child", kind)}
	// As bowrolld sets it for itself; the echo gets the same.
	c.command.Env = append(os.Environ(), "GOMAXPROCS=1", "GOGC=400")
	c.command.Stderr = os.Stderr
	if c.stdin, err = c.command.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := c.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := c.command.Start(); err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		c.stop()
		return nil, fmt.Errorf("the %s said no address: %w", kind, err)
	}
	c.address = strings.TrimSpace(line)
	return c, nil
}

// stop ends the process, which serves until its input closes.
func (c *child) stop() {
	_ = c.stdin.Close()
	_ = c.command.Wait()
}

// cpu is the processor time that the process has used, in seconds.
func (c *child) cpu() (float64, error) {
	tasks, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", c.command.Process.Pid))
	if err != nil {
		return 0, err
	}
	total := 0.0
	for _, task := range tasks {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%s/schedstat", c.command.Process.Pid, task.Name()))
		if err != nil {
			continue // the thread has ended
		}
		first, _, _ := strings.Cut(string(text), " ")
		nanoseconds, err := strconv.ParseFloat(first, 64)
		if err != nil {
			return 0, err
		}
		total += nanoseconds / 1e9
	}
	return total, nil
}

// serveChild serves on a free port until its input closes.
func serveChild(ctx context.Context, kind string, in io.Reader, out io.Writer) error {
	_ = pin(serverCore) // the parent says where that is not possible
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		_, _ = io.Copy(io.Discard, in)
		cancel()
	}()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		return err
	}
	s, err := assembly.New(server.Config{
		GRPCAddress: "127.0.0.1:0", Log: zap.NewNop(), Registry: prometheus.NewRegistry(), NewID: assembly.NewID, Cores: 1,
	}, folder)
	if err != nil {
		return err
	}
	if kind == "service" {
		return s.Run(ctx, func(at server.Addresses) { fmt.Fprintln(out, at.GRPC) })
	}
	answer, err := answerOf(ctx, s)
	if err != nil {
		return err
	}
	if err := s.Close(); err != nil {
		return err
	}
	return serveEcho(ctx, answer, out)
}

// answerOf asks the service once, so that the echo answers in the same size.
func answerOf(ctx context.Context, s *server.Server) (*bowrollv1.Takeoff, error) {
	conn, err := s.Connect()
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	return bowrollv1.NewTakeoffsClient(conn).Compute(ctx, request())
}

// echo answers every request with the same message.
type echo struct {
	bowrollv1.UnimplementedTakeoffsServer
	answer *bowrollv1.Takeoff
}

// Compute returns the answer.
func (e *echo) Compute(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
	return e.answer, nil
}

func serveEcho(ctx context.Context, answer *bowrollv1.Takeoff, out io.Writer) error {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	bare := grpc.NewServer()
	bowrollv1.RegisterTakeoffsServer(bare, &echo{answer: answer})
	go func() {
		<-ctx.Done()
		bare.Stop()
	}()
	fmt.Fprintln(out, l.Addr())
	return bare.Serve(l)
}
