package server_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

type takeoffStream = grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]

func keysOf(ctx context.Context) []string {
	md, _ := metadata.FromIncomingContext(ctx)
	keys := make([]string, 0, len(md))
	for k := range md {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// echo answers each request with its id.
func echo(s takeoffStream) error {
	for i := int32(0); ; i++ {
		req, err := s.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if req.GetCase().GetId() == "fail" {
			return errors.New("password=swordfish")
		}
		item := &bowrollv1.TakeoffItem{Index: i, Id: req.GetCase().GetId(), Status: &bowrollv1.ItemStatus{Code: "OK"}}
		if err := s.Send(&bowrollv1.TakeoffsStreamComputeResponse{Item: item}); err != nil {
			return err
		}
	}
}

// line is one line of a stream.
type line struct {
	Type      string `json:"type"`
	ID        string `json:"id"`
	Complete  bool   `json:"complete"`
	ItemCount int    `json:"item_count"`
	Code      string `json:"code"`
	Message   string `json:"message"`
}

func lines(t *testing.T, text string) []line {
	t.Helper()
	if !strings.HasSuffix(text, "\n") {
		t.Errorf("the last line does not end: %q", text)
	}
	var list []line
	for _, l := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
		var parsed line
		if err := json.Unmarshal([]byte(l), &parsed); err != nil {
			t.Fatalf("%v: %s", err, l)
		}
		list = append(list, parsed)
	}
	return list
}

func TestStreamsAreOneObjectALine(t *testing.T) {
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{stream: echo}}, nil)
	got := h.post(t, "/v1/takeoffs:streamCompute", `{"case":{"id":"a"}}`+"\n\n"+`{"case":{"id":"b"}}`)
	list := lines(t, got.text)
	if got.code != 200 || got.header.Get("Content-Type") != "application/x-ndjson" || len(list) != 3 {
		t.Fatalf("%d %v %s", got.code, got.header, got.text)
	}
	if list[0].Type != "item" || list[0].ID != "a" || list[1].ID != "b" {
		t.Errorf("got %s", got.text)
	}
	if last := list[2]; last.Type != "summary" || !last.Complete || last.ItemCount != 2 {
		t.Errorf("got %s", got.text)
	}
}

func TestAnEmptyStreamIsComplete(t *testing.T) {
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{stream: echo}}, nil)
	got := h.post(t, "/v1/takeoffs:streamCompute", "")
	if list := lines(t, got.text); len(list) != 1 || !list[0].Complete {
		t.Errorf("got %s", got.text)
	}
}

func TestAStreamThatBreaksOffIsNotComplete(t *testing.T) {
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{stream: echo}}, nil)
	for _, c := range []struct{ name, body, code, phrase string }{
		{"the service fails", `{"case":{"id":"a"}}` + "\n" + `{"case":{"id":"fail"}}` + "\n", "INTERNAL", "inside the service"},
		{"a line is not JSON", `{"case":{"id":"a"}}` + "\n" + `{"case":` + "\n", "INVALID_ARGUMENT", "line 2 of the stream"},
		{"a line has an unknown key", `{"case":{"id":"a"}}` + "\n" + `{"cas":{}}` + "\n", "INVALID_ARGUMENT", "did you mean case?"},
		{"a line is too long", `{"case":{"id":"a"}}` + "\n" + `{"case":{"id":"` + strings.Repeat("x", 2<<20) + `"}}` + "\n", "INVALID_ARGUMENT", "too long"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := h.post(t, "/v1/takeoffs:streamCompute", c.body)
			for _, l := range lines(t, got.text) {
				if l.Complete {
					t.Fatalf("says complete: %s", got.text)
				}
			}
			list := lines(t, got.text)
			last := list[len(list)-1]
			if len(list) != 2 || list[0].ID != "a" || last.Type != "error" {
				t.Errorf("what came before the fault is not answered: %.500s", got.text)
			}
			if last.Code != c.code || !strings.Contains(got.text, c.phrase) || strings.Contains(got.text, "swordfish") {
				t.Errorf("got %.500s", got.text)
			}
		})
	}
}

func TestAnswersOfAStreamComeWhileRequestsAreStillSent(t *testing.T) {
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{stream: echo}}, nil)
	in, out := io.Pipe()
	req, err := http.NewRequest(http.MethodPost, h.url+"/v1/takeoffs:streamCompute", in)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-ndjson")
	go func() { _, _ = io.WriteString(out, `{"case":{"id":"a"}}`+"\n") }()
	resp, err := h.client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	reader := bufio.NewReader(resp.Body)
	first, err := reader.ReadString('\n')
	if err != nil || !strings.Contains(first, `"id":"a"`) {
		t.Fatal(first, err)
	}
	go func() {
		_, _ = io.WriteString(out, `{"case":{"id":"b"}}`+"\n")
		out.Close()
	}()
	rest, err := io.ReadAll(reader)
	if err != nil || !strings.Contains(string(rest), `"id":"b"`) || !strings.Contains(string(rest), `"complete":true`) {
		t.Fatal(string(rest), err)
	}
}

func TestACallerThatLeavesEndsTheStream(t *testing.T) {
	ended := make(chan error, 1)
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{stream: func(s takeoffStream) error {
		err := echo(s)
		ended <- err
		return err
	}}}, nil)
	in, out := io.Pipe()
	ctx, cancel := context.WithCancel(context.Background())
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, h.url+"/v1/takeoffs:streamCompute", in)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-ndjson")
	go func() { _, _ = io.WriteString(out, `{"case":{"id":"a"}}`+"\n") }()
	resp, err := h.client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	out.Close()
	resp.Body.Close()
	select {
	case <-ended:
	case <-time.After(5 * time.Second):
		t.Error("the service still runs")
	}
}
