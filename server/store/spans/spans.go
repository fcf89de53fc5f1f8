// Package spans tells traces of the calls of a store: one span for each change
// and each read, under the span of the call that needs it.
package spans

import (
	"context"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/trace"

	"bowroll/server/store"
)

// New returns kept with spans of provider around its calls. Spans name the site
// and the class of an error, never what is kept.
func New(kept store.Store, provider trace.TracerProvider) store.Store {
	return &traced{Store: kept, tracer: provider.Tracer("bowroll/server/store")}
}

type traced struct {
	store.Store
	tracer trace.Tracer
}

// Update is [store.Store]'s, in a span.
func (t *traced) Update(ctx context.Context, site string, request store.Request, change store.Change) (result []byte, replayed bool, err error) {
	ctx, span := t.tracer.Start(ctx, "store.update", trace.WithAttributes(
		attribute.String("bowroll.site", site), attribute.String("bowroll.change", request.Method)))
	defer span.End()
	result, replayed, err = t.Store.Update(ctx, site, request, change)
	span.SetAttributes(attribute.Bool("bowroll.replayed", replayed))
	end(span, err)
	return result, replayed, err
}

// View is [store.Store]'s, in a span.
func (t *traced) View(ctx context.Context, site string, read func(context.Context, store.Reader) error) error {
	ctx, span := t.tracer.Start(ctx, "store.view", trace.WithAttributes(attribute.String("bowroll.site", site)))
	defer span.End()
	err := t.Store.View(ctx, site, read)
	end(span, err)
	return err
}

// end says how a call ended: its text may hold what a caller wrote.
func end(span trace.Span, err error) {
	if err != nil {
		span.SetStatus(codes.Error, store.ClassOf(err).String())
	}
}

// Unwrap is the store itself, for what asks its backend for more.
func (t *traced) Unwrap() store.Store { return t.Store }
