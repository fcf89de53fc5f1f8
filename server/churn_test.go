package server_test

import (
	"context"
	"math/rand/v2"
	"net"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
)

// TestComingAndGoingLeavesNothing lets callers connect, ask, give up in the middle of
// a call, a stream or a body, and leave, over and over; BOWROLL_CHURN says for how
// long, e.g. 1h. After that there are no more goroutines than after the first of them,
// and the heap has not grown beyond what a few calls take.
func TestComingAndGoingLeavesNothing(t *testing.T) {
	length := time.Second
	if text := os.Getenv("BOWROLL_CHURN"); text != "" {
		var err error
		if length, err = time.ParseDuration(text); err != nil {
			t.Fatal(err)
		}
	}
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", Log: zap.NewNop(), Registry: prometheus.NewRegistry(),
		Screen: screen(t), Cores: 1, Grace: time.Second, NewID: assembly.NewID, Pressure: func() time.Duration { return 0 },
	}, folder)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ready, ended := make(chan server.Addresses, 1), make(chan error, 1)
	go func() { ended <- s.Run(ctx, func(a server.Addresses) { ready <- a }) }()
	at := <-ready
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	random := rand.New(rand.NewPCG(1, 2))
	for range 5 {
		comeAndGo(t, at, random)
	}
	goroutines, heap := settled(0)
	rounds := 0
	for began := time.Now(); rounds < 20 || time.Since(began) < length; rounds++ {
		comeAndGo(t, at, random)
	}
	afterGoroutines, afterHeap := settled(goroutines)
	t.Logf("%d rounds: %d goroutines and %d kB before, %d and %d kB after", rounds, goroutines, heap>>10, afterGoroutines, afterHeap>>10)
	if afterGoroutines > goroutines+2 {
		t.Errorf("%d goroutines before, %d after %d rounds", goroutines, afterGoroutines, rounds)
	}
	if afterHeap > heap+16<<20 {
		t.Errorf("%d kB before, %d kB after %d rounds", heap>>10, afterHeap>>10, rounds)
	}
}

// comeAndGo is one caller of each kind.
func comeAndGo(t *testing.T, at server.Addresses, random *rand.Rand) {
	t.Helper()
	patience, cancel := context.WithTimeout(context.Background(), time.Duration(1+random.IntN(40))*time.Millisecond)
	defer cancel()
	conn := dial(t, at.GRPC)
	takeoffs := bowrollv1.NewTakeoffsClient(conn)
	_, _ = takeoffs.Compute(patience, &bowrollv1.TakeoffsComputeRequest{Case: soundCase(t)}) // answered or given up
	if stream, err := takeoffs.StreamCompute(patience); err == nil {
		_ = stream.Send(&bowrollv1.TakeoffsStreamComputeRequest{Case: soundCase(t)})
		if random.IntN(2) == 0 {
			_, _ = stream.Recv()
		}
	}
	if random.IntN(2) == 0 {
		cancel()
	}
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	web, err := net.Dial("tcp", at.HTTP)
	if err != nil {
		t.Fatal(err)
	}
	defer web.Close()
	body := `{"case":` + caseJSON + `}`
	head := "POST /v1/takeoffs:compute HTTP/1.1\r\nHost: ship\r\nContent-Type: application/json\r\nContent-Length: "
	text := head + "9999\r\n\r\n" + body // never comes to its end
	if random.IntN(2) == 0 {
		text = strings.Replace(head, "HTTP/1.1", "HTTP/1.0", 1) + "10\r\n\r\n" + body[:5]
	}
	_, _ = web.Write([]byte(text[:1+random.IntN(len(text))]))
}

// settled returns how many goroutines there are and what the heap holds, once no
// more than want are left or five seconds are over.
func settled(want int) (goroutines int, heap uint64) {
	for range 100 {
		runtime.GC()
		if goroutines = runtime.NumGoroutine(); goroutines <= want {
			break
		}
		time.Sleep(50 * time.Millisecond)
		if want == 0 && goroutines == runtime.NumGoroutine() {
			time.Sleep(500 * time.Millisecond)
			goroutines = runtime.NumGoroutine()
			break
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return goroutines, m.HeapAlloc
}
