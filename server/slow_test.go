package server_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// short is little patience, and soon is when it must long have ended.
const (
	short = 300 * time.Millisecond
	soon  = 20 * time.Second
)

// impatient runs a gateway that waits for nobody long.
func impatient(t *testing.T, fake *fakeTakeoffs) (address string) {
	t.Helper()
	s, err := server.New(server.Config{
		HTTPAddress: "127.0.0.1:0", Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t),
		NewID:    func() string { return "id" },
		Patience: server.Patience{Header: short, Body: short, Answer: 2 * short, Idle: short, Line: short},
	}, server.Services{Takeoffs: fake})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan server.Addresses, 1), make(chan error, 1)
	go func() { ended <- s.Run(ctx, func(a server.Addresses) { ready <- a }) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return (<-ready).HTTP
}

// from connects from an address of this machine.
func from(t *testing.T, local, to string) net.Conn {
	t.Helper()
	dialer := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(local)}}
	conn, err := dialer.Dial("tcp", to)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// answered reads the answer that comes, whole.
func answered(t *testing.T, conn net.Conn) (code int, text string) {
	t.Helper()
	if err := conn.SetReadDeadline(time.Now().Add(soon)); err != nil {
		t.Fatal(err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	all, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatalf("%v after %s", err, all)
	}
	return answer.StatusCode, string(all)
}

// dribble sends a byte now and then until the other end will have no more.
func dribble(t *testing.T, conn net.Conn, text string) {
	t.Helper()
	began := time.Now()
	for i := 0; time.Since(began) < soon; i++ {
		if _, err := conn.Write([]byte{text[i%len(text)]}); err != nil {
			return
		}
		time.Sleep(short / 10)
	}
	t.Errorf("still taken byte by byte after %v", soon)
}

func TestHeadersThatDribbleAreCutOff(t *testing.T) {
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{}))
	if _, err := io.WriteString(conn, "GET /healthz HTTP/1.1\r\nHost: a\r\n"); err != nil {
		t.Fatal(err)
	}
	dribble(t, conn, "X-Slow: yes\r\n")
}

func TestABodyThatDribblesIsCutOff(t *testing.T) {
	called := false
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{compute: func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		called = true
		return &bowrollv1.Takeoff{}, nil
	}}))
	if _, err := io.WriteString(conn, "POST /v1/takeoffs:compute HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 100000\r\n\r\n{"); err != nil {
		t.Fatal(err)
	}
	dribble(t, conn, " ")
	if called {
		t.Error("what never came was computed")
	}
}

func TestLinesThatDribbleAreCutOff(t *testing.T) {
	ended := make(chan struct{})
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{stream: func(s grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
		defer close(ended)
		_, err := s.Recv()
		return err
	}}))
	if _, err := io.WriteString(conn, "POST /v1/takeoffs:streamCompute HTTP/1.1\r\nHost: a\r\nContent-Type: application/x-ndjson\r\nTransfer-Encoding: chunked\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	dribble(t, conn, "1\r\n \r\n")
	select {
	case <-ended:
	case <-time.After(soon):
		t.Error("the call goes on")
	}
}

// TestAStreamThatPausesTooLongIsToldSo sends a line, gets its answer, and sends no
// more.
func TestAStreamThatPausesTooLongIsToldSo(t *testing.T) {
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{stream: func(s grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
		for {
			if _, err := s.Recv(); errors.Is(err, io.EOF) {
				return nil
			} else if err != nil {
				return err
			}
			if err := s.Send(&bowrollv1.TakeoffsStreamComputeResponse{Item: &bowrollv1.TakeoffItem{}}); err != nil {
				return err
			}
		}
	}}))
	line := `{"case":` + caseJSON + `}` + "\n"
	if _, err := fmt.Fprintf(conn, "POST /v1/takeoffs:streamCompute HTTP/1.1\r\nHost: a\r\nContent-Type: application/x-ndjson\r\nTransfer-Encoding: chunked\r\n\r\n%x\r\n%s\r\n", len(line), line); err != nil {
		t.Fatal(err)
	}
	_, text := answered(t, conn)
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) != 2 || !strings.HasPrefix(lines[0], `{"type":"item"`) {
		t.Fatal(text)
	}
	for _, part := range []string{`"type":"error"`, `"code":"DEADLINE_EXCEEDED"`, "line 2 of the stream did not come within 300ms", "begin another"} {
		if !strings.Contains(lines[1], part) {
			t.Errorf("no %s in %s", part, lines[1])
		}
	}
}

// TestABodyThatStopsIsToldSo sends half a body and waits.
func TestABodyThatStopsIsToldSo(t *testing.T) {
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{}))
	if _, err := io.WriteString(conn, "POST /v1/takeoffs:compute HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n{"); err != nil {
		t.Fatal(err)
	}
	if code, text := answered(t, conn); code != http.StatusRequestTimeout || !strings.Contains(text, "the body did not come in time") {
		t.Errorf("%d %s", code, text)
	}
}

// TestAReaderThatStopsIsLetGo asks for an endless stream and reads none of it.
func TestAReaderThatStopsIsLetGo(t *testing.T) {
	ended := make(chan error, 1)
	at := impatient(t, &fakeTakeoffs{stream: func(s grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
		if _, err := s.Recv(); err != nil {
			ended <- err
			return err
		}
		item := &bowrollv1.TakeoffsStreamComputeResponse{Item: &bowrollv1.TakeoffItem{Id: strings.Repeat("a", 64<<10)}}
		for {
			if err := s.Send(item); err != nil {
				ended <- err
				return err
			}
		}
	}})
	conn := from(t, "127.0.0.1", at)
	line := `{"case":` + caseJSON + `}` + "\n"
	if _, err := fmt.Fprintf(conn, "POST /v1/takeoffs:streamCompute HTTP/1.1\r\nHost: a\r\nContent-Type: application/x-ndjson\r\nContent-Length: %d\r\n\r\n%s", len(line), line); err != nil {
		t.Fatal(err)
	}
	select {
	case err := <-ended:
		if err == nil || errors.Is(err, io.EOF) {
			t.Errorf("it ended with %v", err)
		}
	case <-time.After(soon):
		t.Error("answers are still written for nobody")
	}
}

func TestConnectionsThatIdleAreClosed(t *testing.T) {
	conn := from(t, "127.0.0.1", impatient(t, &fakeTakeoffs{}))
	if _, err := io.WriteString(conn, "GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n"); err != nil {
		t.Fatal(err)
	}
	reader := bufio.NewReader(conn)
	answer, err := http.ReadResponse(reader, nil)
	if err != nil || answer.StatusCode != http.StatusOK {
		t.Fatal(answer, err)
	}
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		t.Fatal(err)
	}
	_ = conn.SetReadDeadline(time.Now().Add(soon))
	if _, err := reader.ReadByte(); !errors.Is(err, io.EOF) {
		t.Errorf("after the answer: %v", err)
	}
}

// TestAFloodFromOneAddressLeavesRoomForOthers opens 2,000 connections from one
// address and says nothing on them.
func TestAFloodFromOneAddressLeavesRoomForOthers(t *testing.T) {
	at, stop := running(t, &fakeTakeoffs{}, time.Second)
	defer func() {
		if err := stop(); err != nil {
			t.Error(err)
		}
	}()
	const flood, share = 2000, 512
	var closed sync.WaitGroup
	gone := make(chan struct{}, flood)
	for range flood {
		conn := from(t, "127.0.0.2", at.HTTP)
		closed.Go(func() {
			if _, err := conn.Read(make([]byte, 1)); err != nil {
				gone <- struct{}{}
			}
		})
	}
	for n := range flood - share {
		select {
		case <-gone:
		case <-time.After(soon):
			t.Fatalf("only %d of %d connections beyond its share were closed", n, flood-share)
		}
	}
	client := &http.Client{Transport: &http.Transport{}, Timeout: soon}
	defer client.CloseIdleConnections()
	answer, err := client.Get("http://" + at.HTTP + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		t.Errorf("another caller got %d", answer.StatusCode)
	}
	if n := len(gone); n > flood-share {
		t.Errorf("%d more were closed", n)
	}
}
