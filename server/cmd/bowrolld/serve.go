package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"go.opentelemetry.io/otel/trace"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"

	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/board"
	"bowroll/server/store"
	"bowroll/server/store/spans"
)

// serveCommand serves until told to stop.
type serveCommand struct{ settings }

// Run serves until ctx ends.
func (c *serveCommand) Run(ctx context.Context, out streams) error {
	log := c.logger(out.err)
	kept, err := c.store(ctx, log, out.at)
	if err != nil {
		return err
	}
	traces, endTraces, err := c.trace(ctx, log)
	if err != nil {
		return errors.Join(err, closeStore(kept))
	}
	defer endTraces()
	if kept != nil && traces != nil {
		kept = spans.New(kept, traces)
	}
	sweeping := c.sweeping(log)
	s, watch, err := c.make(log, kept, traces, assembly.WithSweepWorkers(sweeping))
	if err != nil {
		return errors.Join(err, closeStore(kept))
	}
	c.warn(log)
	stop := watch(ctx, log)
	if err := sweeping.Start(ctx); err != nil {
		return errors.Join(err, s.Close(), closeStore(kept))
	}
	err = s.Run(ctx, func(at server.Addresses) {
		log.Info("ready", zap.String("grpc", at.GRPC), zap.String("http", at.HTTP), zap.String("admin", at.Admin))
	})
	stop()
	err = errors.Join(err, sweeping.Stop())
	log.Info("stopped")
	return errors.Join(err, closeStore(kept))
}

// checkCommand checks the configuration without serving.
type checkCommand struct{ settings }

// Run prints what would be used.
func (c *checkCommand) Run(out streams) error {
	s, _, err := c.make(zap.NewNop(), nil, nil)
	if err != nil {
		return err
	}
	c.secured.print(out.out)
	c.bounded.print(out.out)
	c.traced.print(out.out)
	c.swept.print(out.out)
	c.carried.print(out.out)
	fmt.Fprintf(out.out, "grpc: %s\nhttp: %s\nadmin: %s\ncatalog: %s\nstore: %s\norigin: %q\nboard: %v\nreflection: %v\ngrace: %v\ncores: %d\nlog-level: %s\nlog-format: %s\ninsecure: %v\n",
		c.GRPC, c.HTTP, orNone(c.Admin), orBuiltIn(c.Catalog), orNone(withoutPassword(c.Store)), c.Origins, c.Board, c.Reflection, c.Grace, c.cores(), c.LogLevel, c.LogFormat, c.Insecure)
	return s.Close()
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func orBuiltIn(s string) string {
	if s == "" {
		return "built in"
	}
	return s
}

// AfterApply refuses settings that are wrong before any command runs.
func (s *settings) AfterApply() error { return s.check() }

func (s *settings) cores() int {
	if s.Cores > 0 {
		return s.Cores
	}
	return runtime.GOMAXPROCS(0)
}

// make puts the server together from the settings.
func (s *settings) make(log *zap.Logger, kept store.Store, traces trace.TracerProvider, more ...assembly.Option) (*server.Server, watch, error) {
	folder, err := s.catalog()
	if err != nil {
		return nil, nil, err
	}
	options := more
	if kept != nil {
		keys, err := s.carried.keys()
		if err != nil {
			return nil, nil, err
		}
		options = append(options, assembly.WithStore(kept, time.Now), assembly.WithSiteKeys(keys))
	}
	var probe func(context.Context) error
	if kept != nil {
		probe = func(ctx context.Context) error { _, err := kept.Sites(ctx); return err }
	}
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	certificates, guard, err := s.secured.open(registry, time.Now)
	if err != nil {
		return nil, nil, err
	}
	var pages func(*grpc.ClientConn) (http.Handler, error)
	if s.Board {
		pages = func(conn *grpc.ClientConn) (http.Handler, error) {
			return board.New(board.Config{Conn: conn, Access: guard, Keeps: kept != nil, Now: time.Now, NewID: assembly.NewID})
		}
	}
	made, err := assembly.New(server.Config{
		GRPCAddress: s.GRPC, HTTPAddress: s.HTTP, AdminAddress: s.Admin, Reflection: s.Reflection,
		Origins: s.Origins, Grace: s.Grace, Cores: s.cores(),
		Log: log, NewID: assembly.NewID, Registry: registry,
		Certificates: certificates, Access: guard, Quota: s.quota(), Now: time.Now, StoreProbe: probe, Traces: traces, Pages: pages,
	}, folder, options...)
	return made, watching(certificates, guard), err
}

func (s *settings) catalog() (fs.FS, error) {
	if s.Catalog == "" {
		return assembly.BuiltInCatalog()
	}
	return os.DirFS(s.Catalog), nil
}

// logger writes to w, one line an event.
func (s *settings) logger(w io.Writer) *zap.Logger {
	config := zap.NewProductionEncoderConfig()
	config.EncodeTime = zapcore.RFC3339NanoTimeEncoder
	config.EncodeDuration = zapcore.StringDurationEncoder
	encoder := zapcore.NewJSONEncoder(config)
	if s.LogFormat == "text" {
		encoder = zapcore.NewConsoleEncoder(config)
	}
	level, err := zapcore.ParseLevel(s.LogLevel)
	if err != nil { // kong has checked it
		level = zapcore.InfoLevel
	}
	return zap.New(zapcore.NewCore(encoder, zapcore.Lock(zapcore.AddSync(w)), level))
}
