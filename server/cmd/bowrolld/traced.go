package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"

	"bowroll/perf"
)

// traced are the flags of traces.
type traced struct {
	Traces     string  `name:"traces" placeholder:"ADDRESS" env:"BOWROLLD_TRACES" help:"Send traces to this collector (OTLP over gRPC), e.g. https://collector.example:4317, http:// on loopback alone; none unless given."`
	TraceShare float64 `name:"trace-share" default:"0.01" env:"BOWROLLD_TRACE_SHARE" help:"Share of calls traced, 0 to 1; a caller that traces has its calls traced too."`
}

func (f *traced) check() error {
	var faults []error
	if !(f.TraceShare >= 0 && f.TraceShare <= 1) {
		faults = append(faults, fmt.Errorf("--trace-share is %v: must be from 0 to 1", f.TraceShare))
	}
	if f.Traces == "" {
		return errors.Join(faults...)
	}
	u, err := url.Parse(f.Traces)
	switch {
	case err != nil || u.Host == "" || u.User != nil || u.Scheme != "http" && u.Scheme != "https":
		faults = append(faults, fmt.Errorf("--traces is %q: must be https://host:port, or http://host:port on loopback", f.Traces))
	case u.Scheme == "http" && !loopback(u.Hostname()):
		faults = append(faults, fmt.Errorf("--traces is %q: must begin with https://; http:// is for loopback alone", f.Traces))
	}
	return errors.Join(faults...)
}

func (f *traced) print(out io.Writer) {
	fmt.Fprintf(out, "traces: %s\ntrace-share: %v\n", orNone(f.Traces), f.TraceShare)
}

// trace returns what takes the spans of calls, nil where no address is given; the
// function returned sends what is left.
func (f *traced) trace(ctx context.Context, log *zap.Logger) (traces trace.TracerProvider, end func(), err error) {
	provider, err := f.provider(ctx)
	if provider == nil {
		return nil, func() {}, err
	}
	return provider, func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
		defer cancel()
		if err := provider.Shutdown(ctx); err != nil {
			log.Warn("the last traces could not be sent", zap.Error(err))
		}
	}, nil
}

// provider makes what records spans and sends them, nil where no address is
// given. It connects when there is something to send: a collector that is away
// holds up no call. The caller shuts it down.
func (f *traced) provider(ctx context.Context) (*sdktrace.TracerProvider, error) {
	if f.Traces == "" {
		return nil, nil
	}
	exporter, err := otlptracegrpc.New(ctx, otlptracegrpc.WithEndpointURL(f.Traces), otlptracegrpc.WithTimeout(5*time.Second))
	if err != nil {
		return nil, fmt.Errorf("traces to %s: %w", f.Traces, err)
	}
	return sdktrace.NewTracerProvider(
		sdktrace.WithBatcher(exporter, sdktrace.WithBatchTimeout(2*time.Second)),
		sdktrace.WithSampler(sdktrace.ParentBased(sdktrace.TraceIDRatioBased(f.TraceShare))),
		sdktrace.WithResource(resource.NewSchemaless(
			attribute.String("service.name", "bowrolld"), attribute.String("bowroll.model_version", perf.ModelVersion))),
	), nil
}
