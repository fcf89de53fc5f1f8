package server_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// TestTheContract holds the service to the ten things that callers of numeric
// services rely on. The ninth, that a client generated from the OpenAPI file carries
// every example there and back, needs its own tools and is .ci/clients.
func TestTheContract(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bowroll.db")
	h, end := kept(t, file)
	all := work(t, h)
	t.Run("0 every method on both transports", func(t *testing.T) { everyMethodIsAnsweredAlikeOnBothTransports(t, h, all) })
	t.Run("1 every number finite, every quantity with its unit", func(t *testing.T) {
		everyAnswerIsFiniteAndSaysWhereItComesFrom(t, all)
		everyQuantityNamesItsUnit(t)
		noIntegerThatJSONTurnsIntoText(t)
	})
	t.Run("2 zero is not absent", zeroIsAValueAndAbsenceIsAFault)
	t.Run("3 an unknown key at every depth", func(t *testing.T) { everyObjectRefusesKeys(t, h, unknownKey) })
	t.Run("4 a duplicate key at every depth", func(t *testing.T) { everyObjectRefusesKeys(t, h, duplicateKey) })
	t.Run("5 NaN in every double", notANumberIsRefusedInEveryDouble)
	t.Run("6 a batch of 200 with 3 bad items", func(t *testing.T) {
		aBadItemNeverFailsTheBatch(t)
		aBadItemNeverFailsTheStream(t)
	})
	t.Run("7 a stream cut half way", aStreamCutHalfWayIsNoticed)
	t.Run("10 a preflight on every route", func(t *testing.T) { everyRouteAnswersPreflights(t, h) })
	before := stockLog(t, h)
	end()
	h, end = kept(t, file)
	defer end()
	t.Run("8 one request_id twice, across a restart", func(t *testing.T) { everyChangeIsMadeOnce(t, h, all, before) })
}

// objects returns the way to every object below m, field by field.
func objects(m protoreflect.MessageDescriptor, above []protoreflect.FieldDescriptor) [][]protoreflect.FieldDescriptor {
	var found [][]protoreflect.FieldDescriptor
	for i := range m.Fields().Len() {
		fd := m.Fields().Get(i)
		if fd.Message() == nil || fd.IsMap() || fd.Message().ParentFile().Package() != m.ParentFile().Package() {
			continue
		}
		chain := append(append([]protoreflect.FieldDescriptor(nil), above...), fd)
		found = append(append(found, chain), objects(fd.Message(), chain)...)
	}
	return found
}

// unknownKey is an object with a key that none has, and the fault that it is.
func unknownKey(protoreflect.MessageDescriptor) (object, field string) {
	return `{"zzz_unheard_of":1}`, "zzz_unheard_of"
}

// duplicateKey is an object whose first key stands twice, once in its other form
// where it has two.
func duplicateKey(m protoreflect.MessageDescriptor) (object, field string) {
	fd := m.Fields().Get(0)
	return `{"` + string(fd.Name()) + `":null,"` + fd.JSONName() + `":null}`, string(fd.Name())
}

// everyObjectRefusesKeys puts a faulty object in the place of every object of
// every request.
func everyObjectRefusesKeys(t *testing.T, h *harness, faulty func(protoreflect.MessageDescriptor) (object, field string)) {
	tried := 0
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			method := service.Methods().Get(i)
			verb, path, ok := bodyPath(method)
			if !ok || method.IsStreamingServer() {
				continue // streams read their lines by the same code
			}
			for i, chain := range objects(method.Input(), nil) {
				if tried++; testing.Short() && i%10 != 0 {
					continue
				}
				object, field := faulty(chain[len(chain)-1].Message())
				body := object
				for k := len(chain) - 1; k >= 0; k-- {
					if chain[k].IsList() {
						body = "[" + body + "]"
					}
					body = `{"` + string(chain[k].Name()) + `":` + body + `}`
				}
				if got := h.do(t, verb, path, body); !refusedAt(got, chainPath(chain)+"."+field, chain) {
					t.Errorf("%s takes %s: %d %.300s", path, body, got.code, got.text)
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d objects tried", tried)
	}
}

// aStreamCutHalfWayIsNoticed cuts the connection below a stream that has given one
// answer of many.
func aStreamCutHalfWayIsNoticed(t *testing.T) {
	s, err := server.New(server.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", Grace: time.Second, Cores: 1,
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t), NewID: func() string { return "id" },
	}, server.Services{Takeoffs: &fakeTakeoffs{stream: echo}})
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
	t.Run("gRPC", func(t *testing.T) {
		wire := newWire(t, at.GRPC)
		c, err := client.Dial(wire.address())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		stream, err := c.Takeoffs.StreamCompute(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if err := stream.Send(&bowrollv1.TakeoffsStreamComputeRequest{Case: &bowrollv1.TakeoffCase{Id: "a"}}); err != nil {
			t.Fatal(err)
		}
		if _, err := stream.Recv(); err != nil {
			t.Fatal(err)
		}
		wire.cut()
		if _, err = stream.Recv(); errors.Is(err, io.EOF) {
			t.Fatal("it looks like the end")
		}
		if refused, ok := client.AsRefusal(err); !ok || refused.Code != codes.Unavailable {
			t.Errorf("%v", err)
		}
	})
	t.Run("NDJSON", func(t *testing.T) {
		wire := newWire(t, at.HTTP)
		in, out := io.Pipe()
		defer out.Close()
		req, err := http.NewRequest(http.MethodPost, "http://"+wire.address()+"/v1/takeoffs:streamCompute", in)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/x-ndjson")
		go func() { _, _ = io.WriteString(out, `{"case":{"id":"a"}}`+"\n") }()
		transport := &http.Transport{}
		defer transport.CloseIdleConnections()
		resp, err := (&http.Client{Transport: transport}).Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		reader := bufio.NewReader(resp.Body)
		if first, err := reader.ReadString('\n'); err != nil || !strings.Contains(first, `"id":"a"`) {
			t.Fatal(first, err)
		}
		wire.cut()
		if rest, err := io.ReadAll(reader); strings.Contains(string(rest), `"complete":true`) || err == nil {
			t.Errorf("it looks like the end: %q %v", rest, err)
		}
	})
}

// wire passes bytes on to an address until it is cut.
type wire struct {
	listener net.Listener
	mutex    sync.Mutex
	ends     []net.Conn
	passing  sync.WaitGroup
}

func newWire(t *testing.T, to string) *wire {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{listener: listener}
	w.passing.Go(func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				near.Close()
				return
			}
			w.mutex.Lock()
			w.ends = append(w.ends, near, far)
			w.mutex.Unlock()
			w.passing.Go(func() { _, _ = io.Copy(near, far) })
			w.passing.Go(func() { _, _ = io.Copy(far, near) })
		}
	})
	t.Cleanup(func() {
		w.cut()
		w.passing.Wait()
	})
	return w
}

func (w *wire) address() string { return w.listener.Addr().String() }

// cut ends every connection and takes no more.
func (w *wire) cut() {
	w.listener.Close()
	w.mutex.Lock()
	defer w.mutex.Unlock()
	for _, end := range w.ends {
		end.Close()
	}
}

// star is a part of a path that may be anything.
var star = regexp.MustCompile(`\{[a-z_.]+(=([^}]*))?\}`)

// everyRouteAnswersPreflights asks for every binding of the contract as a browser
// does, from a page that may call and from one that may not.
func everyRouteAnswersPreflights(t *testing.T, h *harness) {
	tried := 0
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			rule, _ := proto.GetExtension(service.Methods().Get(i).Options(), annotations.E_Http).(*annotations.HttpRule)
			for _, rule := range append(rule.GetAdditionalBindings(), rule) {
				tried++
				verb, template := "", ""
				for v, path := range map[string]string{"GET": rule.GetGet(), "POST": rule.GetPost(), "PUT": rule.GetPut(), "DELETE": rule.GetDelete()} {
					if path != "" {
						verb, template = v, path
					}
				}
				path := strings.ReplaceAll(star.ReplaceAllString(template, "$2"), "*", "a-1")
				good := h.do(t, http.MethodOptions, path, "", "Origin", plansPage, "Access-Control-Request-Method", verb)
				if good.code != 204 || good.header.Get("Access-Control-Allow-Origin") != plansPage ||
					!strings.Contains(good.header.Get("Access-Control-Allow-Methods"), verb) {
					t.Errorf("%s %s: %d %v", verb, path, good.code, good.header)
				}
				bad := h.do(t, http.MethodOptions, path, "", "Origin", "https://else.example", "Access-Control-Request-Method", verb)
				if bad.code != 403 || bad.header.Get("Access-Control-Allow-Origin") != "" {
					t.Errorf("%s %s from elsewhere: %d %v", verb, path, bad.code, bad.header)
				}
			}
		}
	}
	if tried < 50 {
		t.Errorf("only %d routes tried", tried)
	}
}
