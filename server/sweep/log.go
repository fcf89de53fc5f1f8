package sweep

import (
	"context"
	"log/slog"

	"go.uber.org/zap"
)

// slogOver is the log of the queue's library: its warnings and faults in the
// service's own log, the rest nowhere.
func slogOver(log *zap.Logger) *slog.Logger { return slog.New(handler{log.Named("queue")}) }

type handler struct{ log *zap.Logger }

func (h handler) Enabled(_ context.Context, level slog.Level) bool { return level >= slog.LevelWarn }

func (h handler) Handle(_ context.Context, r slog.Record) error {
	fields := make([]zap.Field, 0, r.NumAttrs())
	r.Attrs(func(a slog.Attr) bool {
		fields = append(fields, zap.String(a.Key, a.Value.String()))
		return true
	})
	h.log.Warn(r.Message, fields...)
	return nil
}

func (h handler) WithAttrs([]slog.Attr) slog.Handler { return h }
func (h handler) WithGroup(string) slog.Handler      { return h }
