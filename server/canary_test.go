package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/examples"
)

// canary is a text that stands nowhere else. It is a sound id, so that it passes
// where ids are asked for.
const canary = "canary-8472"

// TestWhatCallersWriteStaysOutOfErrorsOfTheService puts a canary into one text
// of a request after the other, over a store that has gone away, so that what can
// fail within the service does: no line that an error of the service's own leaves in
// the log and no refusal for it holds the canary, and no line at all a token.
func TestWhatCallersWriteStaysOutOfErrorsOfTheService(t *testing.T) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	store, err := assembly.OpenStore(t.Context(), filepath.Join(t.TempDir(), "bowroll.db"))
	if err != nil {
		t.Fatal(err)
	}
	core, logs := observer.New(zap.DebugLevel)
	s, err := assembly.New(server.Config{
		Log: zap.New(core), Registry: prometheus.NewRegistry(), Screen: screen(t), Cores: 1, Grace: time.Second, NewID: assembly.NewID,
	}, folder, assembly.WithStore(store, time.Now))
	if err != nil {
		t.Fatal(err)
	}
	h := around(t, s)
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}

	calls, err := examples.All()
	if err != nil {
		t.Fatal(err)
	}
	const token = "token-of-" + canary
	within, tried, shown := 0, 0, map[string]bool{}
	for _, call := range calls {
		method := methodOf(t, call.Method)
		if method.IsStreamingClient() || shown[call.Method] {
			continue // its lines are read as those of the call of one are
		}
		shown[call.Method] = true
		for i, way := range texts(method.Input(), nil) {
			if testing.Short() && i%10 != 0 {
				continue
			}
			tried++
			text, err := json.Marshal(withCanary(call.Request, way))
			if err != nil {
				t.Fatal(err)
			}
			in := newMessage(t, method.Input()).Interface()
			if err := protojson.Unmarshal(text, in); err != nil {
				continue // a reference where a number stands: what earlier calls answered is not there
			}
			ctx, cancel := context.WithTimeout(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token), 50*time.Millisecond)
			full := worked{Call: call, method: method}.fullMethod()
			if method.IsStreamingServer() {
				err = drained(ctx, t, h, full, in)
			} else {
				err = h.conn.Invoke(ctx, full, in, newMessage(t, method.Output()).Interface())
			}
			cancel()
			where := fmt.Sprintf("%s with %s", call.Method, chainPath(way))
			if own(status.Code(err)) {
				within++
				if strings.Contains(err.Error(), canary) {
					t.Errorf("%s: the caller sees %v", where, err)
				}
			}
			for _, line := range logs.TakeAll() {
				fields := line.ContextMap()
				text := line.Message + fmt.Sprint(fields)
				code, _ := fields["code"].(string)
				if strings.Contains(text, token) || strings.Contains(text, canary) && (fields["cause"] != nil || code == "Internal" || code == "Unknown" || code == "Unavailable") {
					t.Errorf("%s leaves in the log %.500s", where, text)
				}
			}
		}
	}
	t.Logf("%d texts of %d methods, %d errors of the service's own", tried, len(shown), within)
	if within < 20 {
		t.Error("hardly anything failed within the service: the test looks at nothing")
	}
}

// own says whether a code is a fault of the service's own.
func own(code codes.Code) bool {
	return code == codes.Internal || code == codes.Unknown || code == codes.Unavailable || code == codes.DataLoss
}

// drained receives all that a stream of answers holds.
func drained(ctx context.Context, t *testing.T, h *harness, full string, in any) error {
	t.Helper()
	stream, err := h.conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, full)
	if err != nil {
		return err
	}
	if err := stream.SendMsg(in); err != nil {
		return err
	}
	if err := stream.CloseSend(); err != nil {
		return err
	}
	method := strings.Split(full[1:], "/")
	out := methodOf(t, method[0][strings.LastIndex(method[0], ".")+1:]+"."+method[1]).Output()
	for {
		if err := stream.RecvMsg(newMessage(t, out).Interface()); err != nil {
			return err
		}
	}
}

// texts returns the way to every text below m, field by field.
func texts(m protoreflect.MessageDescriptor, above []protoreflect.FieldDescriptor) (found [][]protoreflect.FieldDescriptor) {
	for i := range m.Fields().Len() {
		fd := m.Fields().Get(i)
		chain := append(append([]protoreflect.FieldDescriptor(nil), above...), fd)
		switch {
		case fd.IsMap():
		case fd.Kind() == protoreflect.StringKind:
			found = append(found, chain)
		case fd.Message() != nil && fd.Message().ParentFile().Package() == m.ParentFile().Package():
			found = append(found, texts(fd.Message(), chain)...)
		}
	}
	return found
}

// withCanary returns the request with the canary at the end of the way, and all else
// as it was. References to earlier answers become names.
func withCanary(request map[string]any, way []protoreflect.FieldDescriptor) map[string]any {
	out := maps.Clone(request)
	if out == nil {
		out = map[string]any{}
	}
	name := string(way[0].Name())
	var value any = canary
	if old, ok := out[name].(string); ok && len(way) == 1 && strings.Contains(old, "/") {
		value = old[:strings.LastIndex(old, "/")+1] + canary // still a name of its kind
	}
	if len(way) > 1 {
		inner, _ := out[name].(map[string]any)
		if list, ok := out[name].([]any); ok && len(list) > 0 {
			inner, _ = list[0].(map[string]any)
		}
		value = withCanary(inner, way[1:])
	}
	if way[0].IsList() {
		value = []any{value}
	}
	out[name] = value
	return out
}
