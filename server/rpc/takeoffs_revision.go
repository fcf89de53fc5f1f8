package rpc

import (
	"context"

	"bowroll/server/catalog"
	"bowroll/server/store"
)

// catalogRevisions are the catalogs that were ever in force.
type catalogRevisions interface {
	// Revision returns one; the error of one that there never was names those
	// there were.
	Revision(ctx context.Context, revision string) (*catalog.Snapshot, error)
}

// WithRevisions lets a batch be computed with an earlier revision of the catalog.
func (t *Takeoffs) WithRevisions(kept catalogRevisions) *Takeoffs {
	t.revisions = kept
	return t
}

// at is what computes with a revision of the catalog; an empty one is that in
// force.
func (t *Takeoffs) at(ctx context.Context, revision string) (*Takeoffs, error) {
	if now := t.resolver.catalog.Revision(); revision == "" || revision == now {
		return t, nil
	} else if t.revisions == nil {
		return nil, refused(store.Errorf(store.NotFound, "CATALOG_REVISION_NOT_FOUND",
			"this service has the revision %s of the catalog and no other: earlier ones are kept where it is started with a store", now).
			At("catalog_revision").With("revision", revision))
	}
	snapshot, err := t.revisions.Revision(ctx, revision)
	if err != nil {
		return nil, refused(err)
	}
	return NewTakeoffs(t.resolver.validator, snapshot, t.workers), nil
}
