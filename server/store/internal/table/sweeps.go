package table

import (
	"context"

	"bowroll/server/store"
)

const sweepColumns = `id, display_name, state, reason, model_version, catalog_revision, request_digest,
	row_total, chunk_rows, chunk_total, chunks_done, rows_done, refused, goes, bytes, cpu, create_time, start_time, end_time, version`

func (t *Tx) scanSweep(r Rows, more ...any) (s store.Sweep, err error) {
	var (
		state              string
		create, start, end int64
	)
	s.Site = t.site
	targets := append([]any{&s.ID, &s.DisplayName, &state, &s.Reason, &s.ModelVersion, &s.CatalogRevision, &s.RequestDigest,
		&s.Rows, &s.ChunkRows, &s.Chunks, &s.ChunksDone, &s.RowsDone, &s.Refused, &s.Goes, &s.Bytes, &s.CPUMicros,
		&create, &start, &end, &s.Version}, more...)
	err = r.Scan(targets...)
	s.State = store.SweepState(state)
	s.CreateTime, s.StartTime, s.EndTime = store.FromMicros(create), store.FromMicros(start), store.FromMicros(end)
	return s, err
}

// Sweep returns one sweep.
func (t *Tx) Sweep(ctx context.Context, id string) (sweep store.Sweep, err error) {
	err = t.query(ctx, func(r Rows) error {
		var spec []byte
		sweep, err = t.scanSweep(r, &spec)
		sweep.Spec = spec
		return err
	}, `SELECT `+sweepColumns+`, spec FROM sweeps WHERE site = $1 AND id = $2`, t.site, id)
	if err == nil && sweep.ID == "" {
		err = store.Errorf(store.NotFound, "SWEEP_NOT_FOUND", "site %s has no sweep %s", t.site, id).With("sweep", id)
	}
	return sweep, err
}

// Sweeps returns sweeps in the order of their ids, without what was asked.
func (t *Tx) Sweeps(ctx context.Context, filter store.SweepFilter, after string, limit int) (sweeps []store.Sweep, err error) {
	w := t.where()
	w.andText("state", string(filter.State))
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	err = t.query(ctx, func(r Rows) error {
		sweep, err := t.scanSweep(r)
		sweeps = append(sweeps, sweep)
		return err
	}, `SELECT `+sweepColumns+` FROM sweeps WHERE `+rest, w.args...)
	return sweeps, err
}

// PutSweep inserts or replaces a sweep. What never changes is written once, and
// what is done is counted by FinishChunk alone.
func (t *Tx) PutSweep(ctx context.Context, s store.Sweep, was int64) error {
	if was == 0 {
		_, err := t.exec(ctx, `INSERT INTO sweeps (site, `+sweepColumns+`, spec)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, 0, 0, 0, 0, 0, 0, $12, $13, $14, $15, $16)`,
			t.site, s.ID, s.DisplayName, string(s.State), s.Reason, s.ModelVersion, s.CatalogRevision, s.RequestDigest,
			s.Rows, s.ChunkRows, s.Chunks, store.Micros(s.CreateTime), store.Micros(s.StartTime), store.Micros(s.EndTime), s.Version, bytesOf(s.Spec))
		if err != nil && t.q.Duplicate(err) {
			return store.Errorf(store.Exists, "SWEEP_EXISTS", "site %s has a sweep %s already", t.site, s.ID).With("sweep", s.ID)
		}
		return err
	}
	n, err := t.exec(ctx, `UPDATE sweeps SET state = $3, reason = $4, start_time = $5, end_time = $6, version = $7
		WHERE site = $1 AND id = $2 AND version = $8`,
		t.site, s.ID, string(s.State), s.Reason, store.Micros(s.StartTime), store.Micros(s.EndTime), s.Version, was)
	if err == nil && n != 1 {
		return changed("sweep", s.ID)
	}
	return err
}

// DeleteSweep removes a sweep and the record of its parts.
func (t *Tx) DeleteSweep(ctx context.Context, id string, was int64) error {
	if _, err := t.exec(ctx, `DELETE FROM sweep_chunks WHERE site = $1 AND sweep = $2`, t.site, id); err != nil {
		return err
	}
	n, err := t.exec(ctx, `DELETE FROM sweeps WHERE site = $1 AND id = $2 AND version = $3`, t.site, id, was)
	if err == nil && n != 1 {
		return changed("sweep", id)
	}
	return err
}

// FinishChunk records that a part is done, once.
func (t *Tx) FinishChunk(ctx context.Context, id string, c store.SweepChunk) (first bool, err error) {
	n, err := t.exec(ctx, `INSERT INTO sweep_chunks (site, sweep, chunk, row_total, refused, goes, bytes, sum, cpu)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) ON CONFLICT (site, sweep, chunk) DO NOTHING`,
		t.site, id, c.Chunk, c.Rows, c.Refused, c.Goes, c.Bytes, c.Sum[:], c.CPUMicros)
	if err != nil || n == 0 {
		return false, err
	}
	_, err = t.exec(ctx, `UPDATE sweeps SET chunks_done = chunks_done + 1, rows_done = rows_done + $3, refused = refused + $4,
		goes = goes + $5, bytes = bytes + $6, cpu = cpu + $7 WHERE site = $1 AND id = $2`,
		t.site, id, c.Rows, c.Refused, c.Goes, c.Bytes, c.CPUMicros)
	return true, err
}

// SweepChunks returns the parts that are done, from one on, in order.
func (t *Tx) SweepChunks(ctx context.Context, id string, from int64, limit int) (chunks []store.SweepChunk, err error) {
	err = t.query(ctx, func(r Rows) error {
		var (
			c   store.SweepChunk
			sum []byte
		)
		err := r.Scan(&c.Chunk, &c.Rows, &c.Refused, &c.Goes, &c.Bytes, &sum, &c.CPUMicros)
		copy(c.Sum[:], sum)
		chunks = append(chunks, c)
		return err
	}, `SELECT chunk, row_total, refused, goes, bytes, sum, cpu FROM sweep_chunks
		WHERE site = $1 AND sweep = $2 AND chunk >= $3 ORDER BY chunk LIMIT $4`, t.site, id, from, limit)
	return chunks, err
}

// Native returns the transaction as the database's own library has it, or nil.
func (t *Tx) Native() any {
	if q, ok := t.q.(interface{ Native() any }); ok {
		return q.Native()
	}
	return nil
}
