package table

import (
	"context"

	"bowroll/server/store"
)

// CheckLogs verifies the log of every site, and that its stock is what the log
// says.
func (t *Tx) CheckLogs(ctx context.Context) error {
	sites, err := t.Sites(ctx)
	if err != nil {
		return err
	}
	for _, site := range sites {
		if _, err := store.Verify(ctx, NewTx(t.q, site)); err != nil {
			return err
		}
	}
	return nil
}
