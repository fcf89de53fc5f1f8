package sweep

import (
	"context"
	"time"

	"go.uber.org/zap"

	"bowroll/server/store"
)

// tendEvery is how often waiting parts are counted and old sweeps looked for.
const tendEvery = 15 * time.Second

// Tend removes results of nobody once, counts what waits, and removes sweeps that
// ended longer ago than keep says, until ctx ends. Where keep is 0 none is removed.
func (d *Desk) Tend(ctx context.Context, keep time.Duration, log *zap.Logger) {
	if err := d.tidy(ctx); err != nil && ctx.Err() == nil {
		log.Warn("results of deleted sweeps could not be removed; trying again at the next start", zap.Error(err))
	}
	ticker := time.NewTicker(tendEvery)
	defer ticker.Stop()
	for {
		if err := d.tend(ctx, keep); err != nil && ctx.Err() == nil {
			log.Warn("sweeps could not be tended; trying again later", zap.Error(err))
		}
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

func (d *Desk) tend(ctx context.Context, keep time.Duration) error {
	sites, err := d.store.Sites(ctx)
	if err != nil {
		return err
	}
	waiting := int64(0)
	for _, site := range sites {
		var old []store.Sweep
		for after := ""; ; {
			var list []store.Sweep
			if err := d.store.View(ctx, site, func(ctx context.Context, r store.Reader) (err error) {
				list, err = r.Sweeps(ctx, store.SweepFilter{}, after, 500)
				return err
			}); err != nil {
				return err
			}
			for _, s := range list {
				switch {
				case !s.State.Ended():
					waiting += s.Chunks - s.ChunksDone
				case keep > 0 && d.now().Sub(s.EndTime) > keep:
					old = append(old, s)
				}
			}
			if len(list) < 500 {
				break
			}
			after = list[len(list)-1].ID
		}
		for _, s := range old {
			if err := d.drop(ctx, s); err != nil {
				return err
			}
		}
	}
	d.metrics.waiting.Set(float64(waiting))
	return nil
}

// tidy removes results of sweeps that are there no more: a service may have died
// after it deleted a sweep and before its results. Results are listed first, so
// that what is created meanwhile is not among them.
func (d *Desk) tidy(ctx context.Context) error {
	var found []key
	if err := d.results.list(ctx, func(k key) { found = append(found, k) }); err != nil {
		return err
	}
	for _, k := range found {
		var s store.Sweep
		err := d.store.View(ctx, k.site, func(ctx context.Context, r store.Reader) (err error) {
			s, err = r.Sweep(ctx, k.sweep)
			return err
		})
		if err == nil && keyOf(s, 0).own() == k.own() {
			continue
		}
		if err != nil && !store.Is(err, store.NotFound) {
			return err
		}
		if err := d.results.remove(ctx, k); err != nil {
			return err
		}
	}
	return nil
}

// drop removes a sweep with its rows.
func (d *Desk) drop(ctx context.Context, s store.Sweep) error {
	_, _, err := d.store.Update(ctx, s.Site, store.Request{Time: d.now()}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, tx.DeleteSweep(ctx, s.ID, s.Version)
	})
	if store.Is(err, store.Changed) {
		return nil // somebody else was quicker
	}
	if err != nil {
		return err
	}
	return d.Remove(ctx, s)
}
