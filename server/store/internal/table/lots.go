package table

import (
	"context"
	"encoding/json"

	"bowroll/server/store"
)

const lotColumns = `id, suspended, received_count, body, create_time, update_time, seq`

func (t *Tx) scanLot(r Rows) (lot store.Lot, err error) {
	var (
		body                   string
		createTime, updateTime int64
	)
	lot.Site = t.site
	if err := r.Scan(&lot.ID, &lot.Suspended, &lot.ReceivedCount, &body, &createTime, &updateTime, &lot.Seq); err != nil {
		return lot, err
	}
	lot.CreateTime, lot.UpdateTime = store.FromMicros(createTime), store.FromMicros(updateTime)
	if err := json.Unmarshal([]byte(body), &lot); err != nil {
		return lot, &store.Error{Class: store.Corrupt, Reason: "ROW_UNREADABLE", Text: "lot " + lot.ID + " cannot be read", Err: err}
	}
	return lot, nil
}

// Lot returns one lot.
func (t *Tx) Lot(ctx context.Context, id string) (lot store.Lot, err error) {
	found := false
	err = t.query(ctx, func(r Rows) error {
		found = true
		lot, err = t.scanLot(r)
		return err
	}, `SELECT `+lotColumns+` FROM lots WHERE site = $1 AND id = $2`, t.site, id)
	if err == nil && !found {
		err = store.Errorf(store.NotFound, "LOT_NOT_FOUND", "site %s has no lot %s", t.site, id).With("lot", id)
	}
	return lot, err
}

// Lots returns lots in the order of their ids.
func (t *Tx) Lots(ctx context.Context, after string, limit int) (lots []store.Lot, err error) {
	w := t.where()
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	err = t.query(ctx, func(r Rows) error {
		lot, err := t.scanLot(r)
		lots = append(lots, lot)
		return err
	}, `SELECT `+lotColumns+` FROM lots WHERE `+rest, w.args...)
	return lots, err
}

// PutLot inserts or replaces a lot.
func (t *Tx) PutLot(ctx context.Context, lot store.Lot, was int64) error {
	body, err := json.Marshal(lot)
	if err != nil {
		return err
	}
	if was == 0 {
		_, err := t.exec(ctx, `INSERT INTO lots (site, id, kind, type, suspended, received_count, body, create_time, update_time, seq)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			t.site, lot.ID, string(lot.Kind), lot.Type, lot.Suspended, lot.ReceivedCount, string(body),
			store.Micros(lot.CreateTime), store.Micros(lot.UpdateTime), lot.Seq)
		if err != nil && t.q.Duplicate(err) {
			return store.Errorf(store.Exists, "LOT_EXISTS", "site %s has a lot %s already", t.site, lot.ID).With("lot", lot.ID)
		}
		return err
	}
	n, err := t.exec(ctx, `UPDATE lots SET kind = $3, type = $4, suspended = $5, received_count = $6, body = $7, update_time = $8, seq = $9
		WHERE site = $1 AND id = $2 AND seq = $10`,
		t.site, lot.ID, string(lot.Kind), lot.Type, lot.Suspended, lot.ReceivedCount, string(body),
		store.Micros(lot.UpdateTime), lot.Seq, was)
	if err == nil && n != 1 {
		return changed("lot", lot.ID)
	}
	return err
}
