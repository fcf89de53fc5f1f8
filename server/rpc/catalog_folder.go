package rpc

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/store"
)

// ImportCatalog replaces the whole catalog by the content of a folder.
func (c *Catalog) ImportCatalog(ctx context.Context, r *bowrollv1.ImportCatalogRequest) (*bowrollv1.CatalogDiff, error) {
	into := &bowrollv1.CatalogDiff{}
	if c.kept == nil {
		return nil, readOnly()
	}
	after, err := catalog.FromFiles(r.GetFiles(), c.kept.validator)
	if err != nil {
		return nil, badFiles(r.GetFiles(), err)
	}
	err = c.kept.change(ctx, "ImportCatalog", r, into, func(before *catalog.Snapshot) (*catalog.Snapshot, error) {
		if base := r.GetBaseRevision(); base != "" && base != before.Revision() {
			return nil, store.Errorf(store.Changed, "CATALOG_CHANGED", "the catalog was changed since the files were made (%s, now %s): export it again and bring your changes in anew", base, before.Revision()).
				At("base_revision").With("revision", before.Revision())
		}
		return after, nil
	}, func(before, after *catalog.Snapshot) proto.Message { return diffMessage(before, after, r) })
	return into, err
}

// badFiles refuses files with all their faults, each at its file and line.
func badFiles(files []*bowrollv1.CatalogFile, err error) error {
	var faults catalog.Faults
	if !errors.As(err, &faults) {
		return err
	}
	list := make([]*bowrollv1.Violation, 0, len(faults))
	for _, f := range faults {
		v := proto.CloneOf(f.Violation)
		place, _, _ := strings.Cut(f.Error(), ": ")
		v.Hint = strings.TrimSuffix(place+": "+v.GetHint(), ": ")
		if at := slices.IndexFunc(files, func(file *bowrollv1.CatalogFile) bool { return file.GetPath() == f.File }); at >= 0 {
			v.Field = "files[" + strconv.Itoa(at) + "]." + v.GetField()
		}
		list = append(list, v)
	}
	if len(list) > refusal.MaxFaults {
		list = list[:refusal.MaxFaults]
	}
	return refusal.Invalid(list)
}

// ExportCatalog returns a revision as files and messages.
func (c *Catalog) ExportCatalog(ctx context.Context, r *bowrollv1.ExportCatalogRequest) (*bowrollv1.ExportCatalogResponse, error) {
	snapshot, err := c.revision(ctx, "revision", r.GetRevision())
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ExportCatalogResponse{
		Revision: snapshot.Revision(), Files: snapshot.Files(), Contents: snapshot.Contents(), Provenance: provenance(c.snapshot, r),
	}, nil
}

// DiffCatalog says what differs between two revisions.
func (c *Catalog) DiffCatalog(ctx context.Context, r *bowrollv1.DiffCatalogRequest) (*bowrollv1.CatalogDiff, error) {
	before, err := c.revision(ctx, "from_revision", r.GetFromRevision())
	if err != nil {
		return nil, err
	}
	after, err := c.revision(ctx, "to_revision", r.GetToRevision())
	if err != nil {
		return nil, err
	}
	d := diffMessage(before, after, r)
	d.Provenance = provenance(c.snapshot, r)
	return d, nil
}

// revision returns a revision of the catalog, the one that holds where none is
// named. One that is not known is not found, with the latest ones listed.
func (c *Catalog) revision(ctx context.Context, field, revision string) (snapshot *catalog.Snapshot, err error) {
	if revision == "" || revision == c.snapshot.Revision() {
		return c.snapshot, nil
	}
	if c.kept == nil {
		return nil, refusal.NotFound(field, revision, c.snapshot.Revision()+", the only one: no store keeps others")
	}
	err = c.kept.store.View(ctx, store.Fleet, func(ctx context.Context, r store.Reader) error {
		snapshot, err = c.kept.read(ctx, r, revision)
		if !store.Is(err, store.NotFound) {
			return err
		}
		rows, listing := r.CatalogRevisions(ctx, 0, mostNames)
		if listing != nil {
			return listing
		}
		known := make([]string, len(rows))
		for i, row := range rows {
			known[i] = row.Revision
		}
		return refusal.NotFound(field, revision, oneOf(known))
	})
	return snapshot, refused(err)
}

// ListCatalogRevisions returns the changes there have been, the newest first.
func (c *Catalog) ListCatalogRevisions(ctx context.Context, r *bowrollv1.ListCatalogRevisionsRequest) (*bowrollv1.ListCatalogRevisionsResponse, error) {
	answer := &bowrollv1.ListCatalogRevisionsResponse{Complete: true, Provenance: provenance(c.snapshot, r)}
	if c.kept == nil {
		answer.Revisions = []*bowrollv1.CatalogRevision{{Sequence: 1, Revision: c.snapshot.Revision()}}
		return answer, nil
	}
	size := int64(min(rowsAsked(r.GetPageSize()), mostListed))
	err := c.kept.store.View(ctx, store.Fleet, func(ctx context.Context, reader store.Reader) error {
		head, err := reader.Head(ctx)
		if err != nil {
			return err
		}
		end := head.Seq + 1
		if before := int64(r.GetBeforeSequence()); before > 0 {
			end = min(end, before)
		}
		first := max(1, end-size)
		answer.Complete = first == 1
		list, err := reader.Movements(ctx, store.MovementFilter{}, first-1, int(end-first))
		if err != nil {
			return err
		}
		slices.Reverse(list)
		for _, m := range list {
			revision, err := revisionIn(m)
			if err != nil {
				return err
			}
			answer.Revisions = append(answer.Revisions, &bowrollv1.CatalogRevision{
				Sequence: int32(m.Seq), Revision: revision, Actor: m.Actor, Reason: m.Reason, Time: stamp(m.Time),
			})
		}
		return nil
	})
	return answer, refused(err)
}
