package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"go.uber.org/zap"

	"bowroll/server/assembly"
	"bowroll/server/store"
	"bowroll/server/store/sqlite"
)

// sweepEvery is how often reservations that ran out are looked for.
const sweepEvery = 20 * time.Second

// store opens the store, nil where none is named, and sees to it that
// reservations run out until ctx ends. The store calls at where a test wants it.
func (s *settings) store(ctx context.Context, log *zap.Logger, at func(point string)) (store.Store, error) {
	if s.Store == "" {
		log.Warn("no store: stock, plans, catalog changes, observed runs and sweeps are neither kept nor served; name one with --store")
		return nil, nil
	}
	kept, err := assembly.OpenStoreAt(ctx, s.Store, at)
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

// storeCommands look after the file that everything is kept in.
type storeCommands struct {
	Check   checkStoreCommand `cmd:"" help:"Read a store whole: every page, every log, every hash."`
	Backup  backupCommand     `cmd:"" help:"Copy a store, which may be in use, to a new file, and read the copy back."`
	Restore restoreCommand    `cmd:"" help:"Make a new store from a backup, and check it."`
}

// checkStoreCommand checks a store that no service has open.
type checkStoreCommand struct {
	Store string `arg:"" placeholder:"FILE|postgres://…" help:"The store."`
}

// Run says what is wrong, or how much holds.
func (c *checkStoreCommand) Run(ctx context.Context, out streams) (err error) {
	kept, err := assembly.OpenStore(ctx, c.Store)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	if err := kept.Check(ctx); err != nil {
		return err
	}
	sites, err := kept.Sites(ctx)
	if err != nil {
		return err
	}
	for _, site := range sites {
		if err := kept.View(ctx, site, func(ctx context.Context, r store.Reader) error {
			head, err := r.Head(ctx)
			fmt.Fprintf(out.out, "%s: %d entries, hash %x, holds\n", site, head.Seq, head.Hash)
			return err
		}); err != nil {
			return err
		}
	}
	fmt.Fprintf(out.out, "%d sites, all hold\n", len(sites))
	return nil
}

// backupCommand copies a store.
type backupCommand struct {
	Store string `arg:"" placeholder:"FILE" help:"The store."`
	To    string `arg:"" placeholder:"COPY" help:"The new file."`
}

// Run copies.
func (c *backupCommand) Run(ctx context.Context, out streams) error {
	if err := aFile(c.Store, c.To); err != nil {
		return err
	}
	if err := sqlite.Backup(ctx, c.Store, c.To); err != nil {
		return err
	}
	fmt.Fprintf(out.out, "%s is a complete copy of %s, read back and checked\n", c.To, c.Store)
	return nil
}

// restoreCommand makes a store from a backup.
type restoreCommand struct {
	From  string `arg:"" placeholder:"COPY" help:"The backup."`
	Store string `arg:"" placeholder:"FILE" help:"The new store."`
}

// Run restores.
func (c *restoreCommand) Run(ctx context.Context, out streams) error {
	if err := aFile(c.From, c.Store); err != nil {
		return err
	}
	if err := sqlite.Restore(ctx, c.From, c.Store); err != nil {
		return err
	}
	fmt.Fprintf(out.out, "%s is restored from %s and checked\n", c.Store, c.From)
	return nil
}

// aFile refuses addresses of PostgreSQL, which has tools of its own for this.
func aFile(paths ...string) error {
	for _, path := range paths {
		if strings.HasPrefix(path, "postgres://") || strings.HasPrefix(path, "postgresql://") {
			return fmt.Errorf("%s is no file: copy a store in PostgreSQL with pg_dump and bring it back with psql, into an empty database, then check it with store check", withoutPassword(path))
		}
	}
	return nil
}
