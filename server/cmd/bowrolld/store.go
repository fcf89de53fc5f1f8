package main

import (
	"context"
	"net/url"
	"time"

	"go.uber.org/zap"

	"bowroll/server/assembly"
	"bowroll/server/store"
)

// sweepEvery is how often reservations that ran out are looked for.
const sweepEvery = 20 * time.Second

// store opens the store, nil where none is named, and sees to it that
// reservations run out until ctx ends.
func (s *settings) store(ctx context.Context, log *zap.Logger) (store.Store, error) {
	if s.Store == "" {
		log.Warn("no store: stock and plans are neither kept nor served; name one with --store")
		return nil, nil
	}
	kept, err := assembly.OpenStore(ctx, s.Store)
	if err != nil {
		return nil, err
	}
	log.Info("store", zap.String("store", withoutPassword(s.Store)))
	go assembly.Sweep(ctx, kept, sweepEvery, time.Now, func(err error) {
		log.Error("reservations that ran out could not be returned to stock; trying again later", zap.Error(err))
	})
	return kept, nil
}

func closeStore(kept store.Store) error {
	if kept == nil {
		return nil
	}
	return kept.Close()
}

// withoutPassword is the address of a store as logs may show it.
func withoutPassword(address string) string {
	if u, err := url.Parse(address); err == nil && u.User != nil {
		return u.Redacted()
	}
	return address
}
