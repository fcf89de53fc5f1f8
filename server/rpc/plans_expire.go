package rpc

import (
	"context"
	"errors"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// ExpireAll returns to stock, at every site, what was reserved and not issued
// in time. A site where nothing ran out is only read.
func ExpireAll(ctx context.Context, kept store.Store, now time.Time) error {
	sites, err := kept.Sites(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for _, site := range sites {
		lapsed := 0
		err := kept.View(ctx, site, func(ctx context.Context, r store.Reader) error {
			list, err := r.Reservations(ctx, store.ReservationFilter{Lapsed: now})
			lapsed = len(list)
			return err
		})
		if err == nil && lapsed > 0 {
			_, _, err = kept.Update(ctx, site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
				book, err := ledger.Open(ctx, tx, ledger.By{Actor: "bowrolld", Time: now})
				if err != nil {
					return nil, err
				}
				if _, err := book.ExpireReservations(ctx); err != nil {
					return nil, err
				}
				return nil, book.Close(ctx)
			})
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}
