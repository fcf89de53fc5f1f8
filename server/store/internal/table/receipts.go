package table

import (
	"bytes"
	"context"

	"bowroll/server/store"
)

// Receipt returns the answer kept for a request. known is false where there is
// none; [store.Reused] says that the id belongs to another request.
func (t *Tx) Receipt(ctx context.Context, request store.Request) (result []byte, known bool, err error) {
	err = t.query(ctx, func(r Rows) error {
		var (
			method string
			hash   []byte
		)
		if err := r.Scan(&method, &hash, &result); err != nil {
			return err
		}
		known = true
		if method != request.Method || !bytes.Equal(hash, request.Hash[:]) {
			return store.Errorf(store.Reused, "REQUEST_ID_REUSED",
				"request_id %s was used for a different request (%s): send a new request_id", request.ID, method).
				At("request_id").With("request_id", request.ID).With("method", method)
		}
		return nil
	}, `SELECT method, hash, result FROM receipts WHERE site = $1 AND id = $2`, t.site, request.ID)
	return result, known, err
}

// KeepReceipt keeps the answer to a request.
func (t *Tx) KeepReceipt(ctx context.Context, request store.Request, result []byte) error {
	_, err := t.exec(ctx, `INSERT INTO receipts (site, id, method, hash, time, result) VALUES ($1, $2, $3, $4, $5, $6)`,
		t.site, request.ID, request.Method, request.Hash[:], store.Micros(request.Time), bytesOf(result))
	return err
}

// Run runs one change with its receipt: the kept answer where there is one,
// otherwise the change, whose answer is kept.
func (t *Tx) Run(ctx context.Context, request store.Request, change store.Change) (result []byte, replayed bool, err error) {
	if request.ID == "" {
		result, err = change(ctx, t)
		return result, false, err
	}
	if result, replayed, err = t.Receipt(ctx, request); err != nil || replayed {
		return result, replayed, err
	}
	if result, err = change(ctx, t); err != nil {
		return nil, false, err
	}
	return result, false, t.KeepReceipt(ctx, request, result)
}
