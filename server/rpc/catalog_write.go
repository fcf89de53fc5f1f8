package rpc

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/store"
)

// thing is one item of the catalog of any kind.
type thing interface {
	proto.Message
	GetName() string
}

// readOnly refuses to change a catalog that no store keeps.
func readOnly() error {
	return refusal.Because(codes.FailedPrecondition, "CATALOG_READ_ONLY",
		"the catalog is read from files and no store keeps it: start the service with a store to change it here, or change the files and start it anew", nil, nil)
}

// slot is the list of the items of one kind.
func slot[T thing](c *bowrollv1.CatalogContents) *[]T {
	for _, list := range []any{&c.AircraftTypes, &c.BoosterTypes, &c.Sites, &c.Decks} {
		if found, ok := list.(*[]T); ok {
			return found
		}
	}
	return nil
}

// asKept is an item as the catalog keeps it: without what answers add.
func asKept[T thing](m T) T {
	m = proto.CloneOf(m)
	for _, field := range []protoreflect.Name{"provenance", "etag"} {
		r := m.ProtoReflect()
		r.Clear(r.Descriptor().Fields().ByName(field))
	}
	return m
}

// shown is an item as answers show it.
func shown[T thing](m T, snapshot *catalog.Snapshot, request ...proto.Message) T {
	tag := catalog.Etag(m)
	m = proto.CloneOf(m)
	r := m.ProtoReflect()
	r.Set(r.Descriptor().Fields().ByName("etag"), protoreflect.ValueOfString(tag))
	if len(request) > 0 {
		r.Set(r.Descriptor().Fields().ByName("provenance"), protoreflect.ValueOfMessage(provenance(snapshot, request...).ProtoReflect()))
	}
	return m
}

// rebuilt is the catalog with other contents; faults of field name the item that
// was sent.
func (k *KeptCatalog) rebuilt(contents *bowrollv1.CatalogContents, section, field string, at int) (*catalog.Snapshot, error) {
	snapshot, err := catalog.FromContents(contents, k.validator)
	var faults catalog.Faults
	if !errors.As(err, &faults) {
		return snapshot, err
	}
	own := fmt.Sprintf("%s[%d]", section, at)
	list := make([]*bowrollv1.Violation, len(faults))
	for i, f := range faults {
		list[i] = proto.CloneOf(f.Violation)
		if rest, ok := strings.CutPrefix(list[i].GetField(), own); ok && field != "" {
			list[i].Field = field + rest
		}
	}
	return nil, refusal.Invalid(list)
}

// wordsOf returns what contents call the list that an item is in, and what
// requests call the item.
func wordsOf(m thing) (section, field string) {
	switch m.(type) {
	case *bowrollv1.AircraftType:
		return "aircraft_types", "aircraft_type"
	case *bowrollv1.BoosterType:
		return "booster_types", "booster_type"
	case *bowrollv1.Site:
		return "sites", "site"
	}
	return "decks", "deck"
}

// create adds an item.
func create[T thing](ctx context.Context, c *Catalog, r catalogMutation, sent, into T) (T, error) {
	if c.kept == nil {
		return into, readOnly()
	}
	section, field := wordsOf(sent)
	if sent.GetName() == "" {
		return into, refusal.Invalid([]*bowrollv1.Violation{{Field: field + ".name", Rule: "required"}})
	}
	item := asKept(sent)
	err := c.kept.change(ctx, "Create"+string(item.ProtoReflect().Descriptor().Name()), r, into, func(before *catalog.Snapshot) (*catalog.Snapshot, error) {
		contents := before.Contents()
		list := slot[T](contents)
		if slices.ContainsFunc(*list, func(m T) bool { return m.GetName() == item.GetName() }) {
			return nil, store.Errorf(store.Exists, "CATALOG_NAME_EXISTS", "the catalog has %s already: update it, or take another name", item.GetName()).At(field+".name").With("name", item.GetName())
		}
		*list = append(slices.Clone(*list), item)
		return c.kept.rebuilt(contents, section, field, len(*list)-1)
	}, func(_, after *catalog.Snapshot) proto.Message { return shown(item, after, r) })
	return into, err
}

// update replaces the item of a name.
func update[T thing](ctx context.Context, c *Catalog, r interface {
	catalogMutation
	GetName() string
	GetEtag() string
}, sent, into T) (T, error) {
	if c.kept == nil {
		return into, readOnly()
	}
	section, field := wordsOf(sent)
	item := asKept(sent)
	if item.GetName() != "" && item.GetName() != r.GetName() {
		return into, refusal.Invalid([]*bowrollv1.Violation{{Field: field + ".name", Value: item.GetName(), Rule: "same", Allowed: r.GetName(), Hint: "a name never changes: create another and delete this one"}})
	}
	m := item.ProtoReflect()
	m.Set(m.Descriptor().Fields().ByName("name"), protoreflect.ValueOfString(r.GetName()))
	err := c.kept.change(ctx, "Update"+string(m.Descriptor().Name()), r, into, func(before *catalog.Snapshot) (*catalog.Snapshot, error) {
		contents := before.Contents()
		list := slot[T](contents)
		at, err := find(*list, r.GetName(), r.GetEtag())
		if err != nil {
			return nil, err
		}
		*list = slices.Clone(*list)
		(*list)[at] = item
		return c.kept.rebuilt(contents, section, field, at)
	}, func(_, after *catalog.Snapshot) proto.Message { return shown(item, after, r) })
	return into, err
}

// find finds the item of a name and compares its etag with the one that the
// caller saw.
func find[T thing](list []T, name, etag string) (int, error) {
	at := slices.IndexFunc(list, func(m T) bool { return m.GetName() == name })
	if at < 0 {
		names := make([]string, len(list))
		for i, m := range list {
			names[i] = m.GetName()
		}
		return 0, unknownName("name", name, names)
	}
	if now := catalog.Etag(list[at]); now != etag {
		return 0, store.Errorf(store.Changed, "ETAG_MISMATCH", "%s was changed since it was read (etag %s, now %s): read it again and decide anew", name, etag, now).
			At("etag").With("resource", name)
	}
	return at, nil
}

// remove takes the item of a name out.
func remove[T thing](ctx context.Context, c *Catalog, r interface {
	catalogMutation
	GetName() string
	GetEtag() string
}) (*bowrollv1.CatalogDiff, error) {
	into := &bowrollv1.CatalogDiff{}
	if c.kept == nil {
		return into, readOnly()
	}
	var zero T
	method := "Delete" + string(zero.ProtoReflect().Descriptor().Name())
	err := c.kept.change(ctx, method, r, into, func(before *catalog.Snapshot) (*catalog.Snapshot, error) {
		contents := before.Contents()
		list := slot[T](contents)
		at, err := find(*list, r.GetName(), r.GetEtag())
		if err != nil {
			return nil, err
		}
		if decks := before.Decks(r.GetName()); len(decks) > 0 {
			return nil, store.Errorf(store.Refused, "CATALOG_IN_USE", "%s has %d decks, %s among them: delete them first", r.GetName(), len(decks), decks[0].GetName()).With("name", r.GetName())
		}
		*list = slices.Delete(slices.Clone(*list), at, at+1)
		return c.kept.rebuilt(contents, "", "", 0)
	}, func(before, after *catalog.Snapshot) proto.Message { return diffMessage(before, after, r) })
	return into, err
}

// diffMessage says what a change did.
func diffMessage(before, after *catalog.Snapshot, r proto.Message) *bowrollv1.CatalogDiff {
	d := &bowrollv1.CatalogDiff{
		FromRevision: before.Revision(), ToRevision: after.Revision(), Changes: catalog.Diff(before, after), Provenance: provenance(after, r),
	}
	if m, ok := r.(catalogMutation); ok {
		d.ValidateOnly = m.GetValidateOnly()
	}
	return d
}

// CreateAircraftType adds an aircraft type.
func (c *Catalog) CreateAircraftType(ctx context.Context, r *bowrollv1.CreateAircraftTypeRequest) (*bowrollv1.AircraftType, error) {
	return create(ctx, c, r, r.GetAircraftType(), &bowrollv1.AircraftType{})
}

// UpdateAircraftType replaces an aircraft type.
func (c *Catalog) UpdateAircraftType(ctx context.Context, r *bowrollv1.UpdateAircraftTypeRequest) (*bowrollv1.AircraftType, error) {
	return update(ctx, c, r, r.GetAircraftType(), &bowrollv1.AircraftType{})
}

// DeleteAircraftType takes an aircraft type out.
func (c *Catalog) DeleteAircraftType(ctx context.Context, r *bowrollv1.DeleteAircraftTypeRequest) (*bowrollv1.CatalogDiff, error) {
	return remove[*bowrollv1.AircraftType](ctx, c, r)
}

// CreateBoosterType adds a booster type.
func (c *Catalog) CreateBoosterType(ctx context.Context, r *bowrollv1.CreateBoosterTypeRequest) (*bowrollv1.BoosterType, error) {
	return create(ctx, c, r, r.GetBoosterType(), &bowrollv1.BoosterType{})
}

// UpdateBoosterType replaces a booster type.
func (c *Catalog) UpdateBoosterType(ctx context.Context, r *bowrollv1.UpdateBoosterTypeRequest) (*bowrollv1.BoosterType, error) {
	return update(ctx, c, r, r.GetBoosterType(), &bowrollv1.BoosterType{})
}

// DeleteBoosterType takes a booster type out.
func (c *Catalog) DeleteBoosterType(ctx context.Context, r *bowrollv1.DeleteBoosterTypeRequest) (*bowrollv1.CatalogDiff, error) {
	return remove[*bowrollv1.BoosterType](ctx, c, r)
}

// CreateSite adds a site.
func (c *Catalog) CreateSite(ctx context.Context, r *bowrollv1.CreateSiteRequest) (*bowrollv1.Site, error) {
	return create(ctx, c, r, r.GetSite(), &bowrollv1.Site{})
}

// UpdateSite replaces a site.
func (c *Catalog) UpdateSite(ctx context.Context, r *bowrollv1.UpdateSiteRequest) (*bowrollv1.Site, error) {
	return update(ctx, c, r, r.GetSite(), &bowrollv1.Site{})
}

// DeleteSite takes a site out.
func (c *Catalog) DeleteSite(ctx context.Context, r *bowrollv1.DeleteSiteRequest) (*bowrollv1.CatalogDiff, error) {
	return remove[*bowrollv1.Site](ctx, c, r)
}

// CreateDeck adds a deck.
func (c *Catalog) CreateDeck(ctx context.Context, r *bowrollv1.CreateDeckRequest) (*bowrollv1.Deck, error) {
	if name := r.GetDeck().GetName(); !strings.HasPrefix(name, r.GetParent()+"/decks/") {
		return nil, refusal.Invalid([]*bowrollv1.Violation{{Field: "deck.name", Value: name, Rule: "same", Allowed: r.GetParent() + "/decks/ and an id"}})
	}
	return create(ctx, c, r, r.GetDeck(), &bowrollv1.Deck{})
}

// UpdateDeck replaces a deck.
func (c *Catalog) UpdateDeck(ctx context.Context, r *bowrollv1.UpdateDeckRequest) (*bowrollv1.Deck, error) {
	return update(ctx, c, r, r.GetDeck(), &bowrollv1.Deck{})
}

// DeleteDeck takes a deck out.
func (c *Catalog) DeleteDeck(ctx context.Context, r *bowrollv1.DeleteDeckRequest) (*bowrollv1.CatalogDiff, error) {
	return remove[*bowrollv1.Deck](ctx, c, r)
}
