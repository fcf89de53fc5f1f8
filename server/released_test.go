package server_test

import (
	"encoding/base64"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/server/examples"
)

var writeReleased = flag.String("write-released", "", "write the worked calls and their answers as those of this release, e.g. v1.0.0, and end")

// released is a call as it was when a release was made: what a client of that
// release sends and understands.
type released struct {
	examples.Call
	// Binary is the request as that release's client puts it on the wire, base64;
	// empty where it holds what an earlier call answered.
	Binary string `json:"binary,omitempty"`
	// Answer is what the release answered, in its binary form, base64; empty of a stream.
	Answer string `json:"answer,omitempty"`
	// Fields are the names of all fields that the answer had set, deep ones with dots.
	Fields []string `json:"fields,omitempty"`
}

// TestReleasedCallsAreAnswered sends today's service the calls of every release, as
// its clients would, and holds that they are answered, that each field that the
// release's answer had set is set today, and that the bytes of the old answer are
// understood whole.
func TestReleasedCallsAreAnswered(t *testing.T) {
	if *writeReleased != "" {
		writeCalls(t, filepath.Join("../testdata/released", *writeReleased+".json"))
		return
	}
	files, err := filepath.Glob("../testdata/released/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no release: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var calls []released
			if err := json.Unmarshal(text, &calls); err != nil {
				t.Fatal(err)
			}
			h, end := kept(t, filepath.Join(t.TempDir(), "bowroll.db"))
			defer end()
			answers := map[string]any{}
			for _, call := range calls {
				call.isAnswered(t, h, answers)
			}
		})
	}
}

// isAnswered makes a call in both forms and holds the answer against the release's.
func (r released) isAnswered(t *testing.T, h *harness, answers map[string]any) {
	w := worked{Call: r.Call, method: methodOf(t, r.Method)}
	request, err := r.Resolved(answers)
	if err != nil {
		t.Error(err)
		return
	}
	if err := r.Sign(request); err != nil {
		t.Fatal(err)
	}
	over, err := examples.Over(w.method, request)
	if err != nil {
		t.Fatal(err)
	}
	web := h.do(t, over.Verb, over.Path, over.Body)
	if web.code != 200 {
		t.Errorf("%s: %d %.1000s", r.Method, web.code, web.text)
		return
	}
	if w.method.IsStreamingServer() {
		return
	}
	answers[r.Method] = web.body(t)
	if r.Binary != "" {
		old, made := newMessage(t, w.method.Input()).Interface(), newMessage(t, w.method.Input()).Interface()
		fromBase64(t, r.Binary, old)
		fromJSON(t, request, made)
		if unknown := unknownIn(old.ProtoReflect()); unknown != "" || !proto.Equal(old, made) {
			t.Errorf("%s: the request's bytes mean something else today (unknown: %q)\n%v\n%v", r.Method, unknown, old, made)
		}
	}
	old := newMessage(t, w.method.Output()).Interface()
	fromBase64(t, r.Answer, old)
	if unknown := unknownIn(old.ProtoReflect()); unknown != "" {
		t.Errorf("%s: the answer's bytes hold what is not known today, in %s", r.Method, unknown)
	}
	today := map[string]bool{}
	for _, field := range fieldsOf(into(t, web.text, newMessage(t, w.method.Output()).Interface()).ProtoReflect(), "", nil) {
		today[field] = true
	}
	for _, field := range r.Fields {
		if !today[field] {
			t.Errorf("%s: the answer no longer has %s", r.Method, field)
		}
	}
}

// writeCalls makes today's worked calls those of a release.
func writeCalls(t *testing.T, file string) {
	h, end := kept(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer end()
	var calls []released
	for _, w := range work(t, h) {
		r := released{Call: w.Call}
		form := newMessage(t, w.method.Input()).Interface()
		text, err := json.Marshal(w.Request)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), `"=`) && protojson.Unmarshal(text, form) == nil {
			r.Binary = toBase64(t, form)
		}
		if w.grpc != nil {
			r.Answer, r.Fields = toBase64(t, w.grpc), fieldsOf(w.grpc.ProtoReflect(), "", nil)
		}
		calls = append(calls, r)
	}
	if t.Failed() {
		return
	}
	text, err := json.MarshalIndent(calls, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, append(text, '\n'), 0o644); err != nil {
		t.Fatal(err)
	}
}

func toBase64(t *testing.T, m proto.Message) string {
	t.Helper()
	bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return base64.StdEncoding.EncodeToString(bytes)
}

func fromBase64(t *testing.T, text string, m proto.Message) {
	t.Helper()
	bytes, err := base64.StdEncoding.DecodeString(text)
	if err == nil {
		err = proto.Unmarshal(bytes, m)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func fromJSON(t *testing.T, value any, m proto.Message) {
	t.Helper()
	text, err := json.Marshal(value)
	if err == nil {
		err = protojson.Unmarshal(text, m)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// fieldsOf adds the names of the fields set in m and below, each once and in order
// of their numbers; those of a list's items together.
func fieldsOf(m protoreflect.Message, above string, known map[string]bool) (list []string) {
	if known == nil {
		known = map[string]bool{}
	}
	for i := range m.Descriptor().Fields().Len() {
		fd := m.Descriptor().Fields().Get(i)
		if !m.Has(fd) {
			continue
		}
		name := above + string(fd.Name())
		if !known[name] {
			known[name] = true
			list = append(list, name)
		}
		eachMessage(fd, m.Get(fd), func(inner protoreflect.Message) { list = append(list, fieldsOf(inner, name+".", known)...) })
	}
	return list
}

// unknownIn names a message at or below m that holds fields nobody knows, or "".
func unknownIn(m protoreflect.Message) (where string) {
	if len(m.GetUnknown()) > 0 {
		return string(m.Descriptor().FullName())
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		eachMessage(fd, v, func(inner protoreflect.Message) {
			if where == "" {
				where = unknownIn(inner)
			}
		})
		return where == ""
	})
	return where
}

// eachMessage calls visit for the messages that a field's value is or holds.
func eachMessage(fd protoreflect.FieldDescriptor, v protoreflect.Value, visit func(protoreflect.Message)) {
	switch {
	case fd.IsMap():
		if fd.MapValue().Message() != nil {
			v.Map().Range(func(_ protoreflect.MapKey, inner protoreflect.Value) bool { visit(inner.Message()); return true })
		}
	case fd.Message() == nil:
	case fd.IsList():
		for i := range v.List().Len() {
			visit(v.List().Get(i).Message())
		}
	default:
		visit(v.Message())
	}
}
