package server_test

import (
	"context"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/examples"
)

// worked is an example that was sent: what was asked and what came back.
type worked struct {
	examples.Call
	method  protoreflect.MethodDescriptor
	request map[string]any
	over    examples.HTTP
	json    answer
	grpc    proto.Message // nil of a stream
}

// mutates says whether the example changes what is kept.
func (w worked) mutates() bool { return w.request["request_id"] != nil }

// methodOf finds "Takeoffs.Compute" in the contract.
func methodOf(t *testing.T, name string) protoreflect.MethodDescriptor {
	t.Helper()
	service, method, _ := strings.Cut(name, ".")
	for _, s := range server.Contract() {
		if string(s.Name()) == service {
			if m := s.Methods().ByName(protoreflect.Name(method)); m != nil {
				return m
			}
		}
	}
	t.Fatalf("the contract has no %s", name)
	return nil
}

// kept starts the whole service over a file, which may hold something already,
// and returns with it what ends it. Each change is made to its settings.
func kept(t *testing.T, file string, changes ...func(*server.Config)) (*harness, func()) {
	t.Helper()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	store, err := assembly.OpenStore(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	config := server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t), Cores: 1, Grace: time.Second, NewID: assembly.NewID,
		Origins: []string{plansPage},
	}
	for _, change := range changes {
		change(&config)
	}
	s, err := assembly.New(config, folder, assembly.WithStore(store, time.Now), assembly.WithSiteKeys(map[string][]ed25519.PublicKey{"varrow": {examples.SiteKey().Public().(ed25519.PublicKey)}}))
	if err != nil {
		t.Fatal(err)
	}
	var h *harness
	h, end := served(t, s)
	return h, func() {
		end()
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	}
}

// plansPage is an origin whose pages may call.
const plansPage = "https://plans.example"

// work sends every example, over JSON and then over gRPC. What changes something
// is sent under one request_id, so that the second gets the answer of the first.
func work(t *testing.T, h *harness) []worked {
	t.Helper()
	calls, err := examples.All()
	if err != nil {
		t.Fatal(err)
	}
	answers := map[string]any{}
	var all []worked
	for _, call := range calls {
		w := worked{Call: call, method: methodOf(t, call.Method)}
		if w.request, err = call.Resolved(answers); err != nil {
			t.Error(err)
			continue
		}
		if err := call.Sign(w.request); err != nil {
			t.Fatal(err)
		}
		if w.over, err = examples.Over(w.method, w.request); err != nil {
			t.Fatal(err)
		}
		w.json = h.do(t, w.over.Verb, w.over.Path, w.over.Body)
		if w.json.code != 200 {
			t.Errorf("%s: %d %.2000s", call.Method, w.json.code, w.json.text)
			continue
		}
		if !w.method.IsStreamingServer() {
			answers[call.Method] = w.json.body(t)
			if w.grpc, err = w.overGRPC(t, h, w.request); err != nil {
				t.Fatalf("%s over gRPC: %v", call.Method, err)
			}
		}
		all = append(all, w)
	}
	return all
}

// overGRPC sends a request in its binary form.
func (w worked) overGRPC(t *testing.T, h *harness, request map[string]any) (proto.Message, error) {
	t.Helper()
	return w.overGRPCWith(context.Background(), t, h, request)
}

// overGRPCWith sends it with what ctx holds.
func (w worked) overGRPCWith(ctx context.Context, t *testing.T, h *harness, request map[string]any) (proto.Message, error) {
	t.Helper()
	text, err := json.Marshal(request)
	if err != nil {
		t.Fatal(err)
	}
	in, out := newMessage(t, w.method.Input()).Interface(), newMessage(t, w.method.Output()).Interface()
	if err := protojson.Unmarshal(text, in); err != nil {
		t.Fatalf("%s: %v", w.Method, err)
	}
	return out, h.conn.Invoke(ctx, w.fullMethod(), in, out, grpc.MaxCallRecvMsgSize(server.MaxAnswerBytes))
}

func (w worked) fullMethod() string {
	return "/" + string(w.method.Parent().FullName()) + "/" + string(w.method.Name())
}

// received counts what a streaming method answers over gRPC, to the end.
func (w worked) received(t *testing.T, h *harness) (int, error) {
	t.Helper()
	text, err := json.Marshal(w.request)
	if err != nil {
		t.Fatal(err)
	}
	in := newMessage(t, w.method.Input()).Interface()
	if err := protojson.Unmarshal(text, in); err != nil {
		t.Fatal(err)
	}
	stream, err := h.conn.NewStream(context.Background(), &grpc.StreamDesc{ServerStreams: true, ClientStreams: w.method.IsStreamingClient()}, w.fullMethod())
	if err != nil {
		return 0, err
	}
	if err := errors.Join(stream.SendMsg(in), stream.CloseSend()); err != nil {
		return 0, err
	}
	for n := 0; ; n++ {
		if err := stream.RecvMsg(newMessage(t, w.method.Output()).Interface()); errors.Is(err, io.EOF) {
			return n, nil
		} else if err != nil {
			return n, err
		}
	}
}

// withoutExample are methods that no worked call can show here: one measures, so
// that no two of its answers are alike, and one reads what workers have computed,
// of which this service has none. server/assembly tries both.
var withoutExample = []string{"Sweeps.EstimateSweep", "Sweeps.ReadSweep"}

// Every method has a worked call, and both transports give it the same answer.
func everyMethodIsAnsweredAlikeOnBothTransports(t *testing.T, h *harness, all []worked) {
	shown := map[protoreflect.FullName]bool{}
	for _, w := range all {
		shown[w.method.FullName()] = true
		if w.method.IsStreamingServer() {
			if n, err := w.received(t, h); err != nil || n == 0 {
				t.Errorf("%s over gRPC: %d answers, %v", w.Method, n, err)
			}
			list := lines(t, w.json.text)
			if last := list[len(list)-1]; last.Type != "summary" || !last.Complete {
				t.Errorf("%s does not end in a summary: %.300s", w.Method, w.json.text)
			}
			continue
		}
		if over := into(t, w.json.text, newMessage(t, w.method.Output()).Interface()); !proto.Equal(over, w.grpc) {
			t.Errorf("%s: another answer over gRPC:\n%.600s\n%.600v", w.Method, w.json.text, w.grpc)
		}
	}
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			if m := service.Methods().Get(i); !shown[m.FullName()] && !slices.Contains(withoutExample, string(service.Name())+"."+string(m.Name())) {
				t.Errorf("%s has no example: add one to testdata/examples", m.FullName())
			}
		}
	}
}

// Every answer is finite and says where it comes from.
func everyAnswerIsFiniteAndSaysWhereItComesFrom(t *testing.T, all []worked) {
	for _, w := range all {
		for _, word := range []string{`"NaN"`, `"Infinity"`, `"-Infinity"`} {
			if strings.Contains(w.json.text, word) {
				t.Errorf("%s answers %s", w.Method, word)
			}
		}
		if w.grpc == nil {
			continue
		}
		if bad := notFinite(w.grpc.ProtoReflect()); bad != "" {
			t.Errorf("%s: %s", w.Method, bad)
		}
		provenance, _ := w.json.body(t)["provenance"].(map[string]any)
		for _, key := range []string{"model_version", "catalog_revision", "request_digest"} {
			if text, _ := provenance[key].(string); text == "" {
				t.Errorf("%s: no %s", w.Method, key)
			}
		}
	}
}

// notFinite is the name of a number below m that is none, or "".
func notFinite(m protoreflect.Message) (found string) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		each := func(v protoreflect.Value) {
			switch {
			case fd.Kind() == protoreflect.DoubleKind && (math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0)):
				found = string(fd.FullName())
			case fd.Message() != nil && !fd.IsMap() && found == "":
				found = notFinite(v.Message())
			}
		}
		if !fd.IsList() {
			each(v)
			return found == ""
		}
		for i := range v.List().Len() {
			each(v.List().Get(i))
		}
		return found == ""
	})
	return found
}

// everyChangeIsMadeOnce sends again every change that was made, on both
// transports, to a service started anew over the same store. It gets the first
// answer and changes nothing; with another body it is refused.
func everyChangeIsMadeOnce(t *testing.T, h *harness, all []worked, before string) {
	tried := 0
	for _, w := range all {
		if !w.mutates() || w.request["validate_only"] == true {
			continue
		}
		tried++
		if again := h.do(t, w.over.Verb, w.over.Path, w.over.Body); again.code != 200 || !proto.Equal(into(t, again.text, newMessage(t, w.method.Output()).Interface()), w.grpc) {
			t.Errorf("%s again over JSON: %d %.600s\nfirst %.600s", w.Method, again.code, again.text, w.json.text)
		}
		if again, err := w.overGRPC(t, h, w.request); err != nil || !proto.Equal(again, w.grpc) {
			t.Errorf("%s again over gRPC: %v %.600v", w.Method, err, again)
		}
		other := map[string]any{}
		for key, value := range w.request {
			other[key] = value
		}
		other["actor"] = "somebody-else"
		over, err := examples.Over(w.method, other)
		if err != nil {
			t.Fatal(err)
		}
		if refused := h.do(t, over.Verb, over.Path, over.Body); refused.code != 400 || !strings.Contains(refused.text, "request_id_reused") {
			t.Errorf("%s with another body over JSON: %d %.300s", w.Method, refused.code, refused.text)
		}
		if _, err := w.overGRPC(t, h, other); err == nil {
			t.Errorf("%s with another body over gRPC is taken", w.Method)
		} else {
			wantCode(t, err, codes.FailedPrecondition)
		}
	}
	if after := stockLog(t, h); after != before {
		t.Errorf("something was done twice:\n%s\n%s", before, after)
	}
	if tried < 20 {
		t.Errorf("only %d changes tried", tried)
	}
}

// stockLog is the state of a site's log.
func stockLog(t *testing.T, h *harness) string {
	t.Helper()
	return h.do(t, "GET", "/v1/sites/varrow/movements:verify", "").text
}
