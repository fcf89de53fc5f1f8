package spans_test

import (
	"context"
	"path/filepath"
	"testing"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"

	"bowroll/server/store"
	"bowroll/server/store/spans"
	"bowroll/server/store/sqlite"
)

// Each call is a span under the caller's own, and an error is told by its class.
func TestSpans(t *testing.T) {
	kept, err := sqlite.Open(context.Background(), filepath.Join(t.TempDir(), "bowroll.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	recorder := tracetest.NewSpanRecorder()
	provider := sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(recorder))
	s := spans.New(kept, provider)
	ctx, above := provider.Tracer("test").Start(context.Background(), "call")
	if _, _, err := s.Update(ctx, "varrow", store.Request{Method: "Nothing"}, func(context.Context, store.Tx) ([]byte, error) { return nil, nil }); err != nil {
		t.Fatal(err)
	}
	err = s.View(ctx, "varrow", func(ctx context.Context, r store.Reader) error {
		_, err := r.Lot(ctx, "a-secret-lot")
		return err
	})
	if !store.Is(err, store.NotFound) {
		t.Fatal(err)
	}
	ended := recorder.Ended()
	if len(ended) != 2 || ended[0].Name() != "store.update" || ended[1].Name() != "store.view" {
		t.Fatal(ended)
	}
	for _, span := range ended {
		if span.Parent().SpanID() != above.SpanContext().SpanID() {
			t.Errorf("%s is not under the call", span.Name())
		}
	}
	if got := ended[1].Status().Description; got != store.NotFound.String() {
		t.Errorf("the error is told as %q", got)
	}
}
