package table

import (
	"context"
	"math"

	"bowroll/server/store"
)

const revisionColumns = `revision, seq, actor, note, create_time`

func scanRevision(r Rows, more ...any) (c store.CatalogRevision, err error) {
	var createTime int64
	err = r.Scan(append([]any{&c.Revision, &c.Seq, &c.Actor, &c.Note, &createTime}, more...)...)
	c.CreateTime = store.FromMicros(createTime)
	return c, err
}

// CatalogRevision returns one revision, the newest where revision is empty.
func (t *Tx) CatalogRevision(ctx context.Context, revision string) (found store.CatalogRevision, err error) {
	w := t.where()
	w.andText("revision", revision)
	rest := w.limit("seq DESC", 1)
	err = t.query(ctx, func(r Rows) error {
		var body []byte
		found, err = scanRevision(r, &body)
		found.Body = body
		return err
	}, `SELECT `+revisionColumns+`, body FROM catalog_revisions WHERE `+rest, w.args...)
	if err == nil && found.Seq == 0 {
		err = store.Errorf(store.NotFound, "CATALOG_REVISION_NOT_FOUND", "the catalog has no revision %s", revision).With("revision", revision)
	}
	return found, err
}

// CatalogRevisions returns revisions, the newest first, without bodies.
func (t *Tx) CatalogRevisions(ctx context.Context, before int64, limit int) (list []store.CatalogRevision, err error) {
	if before == 0 {
		before = math.MaxInt64
	}
	w := t.where()
	w.and("seq < $%d", before)
	rest := w.limit("seq DESC", limit)
	err = t.query(ctx, func(r Rows) error {
		one, err := scanRevision(r)
		list = append(list, one)
		return err
	}, `SELECT `+revisionColumns+` FROM catalog_revisions WHERE `+rest, w.args...)
	return list, err
}

// InsertCatalogRevision inserts a revision that is not there yet.
func (t *Tx) InsertCatalogRevision(ctx context.Context, revision store.CatalogRevision) (store.CatalogRevision, error) {
	_, err := t.exec(ctx, `INSERT INTO catalog_revisions (site, revision, seq, actor, note, create_time, body)
		VALUES ($1, $2, (SELECT coalesce(max(seq), 0) + 1 FROM catalog_revisions WHERE site = $1), $3, $4, $5, $6)
		ON CONFLICT (site, revision) DO NOTHING`,
		t.site, revision.Revision, revision.Actor, revision.Note, store.Micros(revision.CreateTime), bytesOf(revision.Body))
	if err != nil {
		return store.CatalogRevision{}, err
	}
	return t.CatalogRevision(ctx, revision.Revision)
}
