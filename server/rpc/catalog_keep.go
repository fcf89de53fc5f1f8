package rpc

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
)

// changeCatalog is the event under which the log of the fleet holds a change of
// the catalog; its detail is a [catalogEntry]. The last one says what holds.
const changeCatalog store.Event = "change_catalog"

// catalogEntry is the detail of a change of the catalog.
type catalogEntry struct {
	Revision string `json:"revision"`
}

// KeptCatalog is a catalog in a store: the revision that holds, all that held
// before, and the log of who changed it and why. It is safe for use by many
// goroutines.
type KeptCatalog struct {
	store     store.Store
	validator protovalidate.Validator
	now       func() time.Time

	current atomic.Pointer[catalog.Snapshot]

	lock   sync.Mutex
	seq    int64     // entry of the log that current is of
	looked time.Time // when the store was last asked
}

// freshFor is how long the revision that holds is taken to hold before the store
// is asked again: another service over the same store may have changed it.
const freshFor = 2 * time.Second

// OpenCatalog opens the catalog that a store keeps. A store that has none yet
// gets seed as the first revision.
func OpenCatalog(ctx context.Context, kept store.Store, validator protovalidate.Validator, seed *catalog.Snapshot, now func() time.Time) (*KeptCatalog, error) {
	k := &KeptCatalog{store: kept, validator: validator, now: now}
	_, _, err := kept.Update(ctx, store.Fleet, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		head, err := tx.Head(ctx)
		if err != nil || head.Seq > 0 {
			return nil, err
		}
		return nil, k.write(ctx, tx, seed, "bowrolld", "the catalog that the service was first started with", "")
	})
	if err != nil {
		return nil, err
	}
	return k, k.refresh(ctx)
}

// Snapshot is the catalog as it holds.
func (k *KeptCatalog) Snapshot() *catalog.Snapshot { return k.current.Load() }

// Latest is the catalog as it holds, asked of the store where some time has gone
// by. Where the store does not answer it is as it was.
func (k *KeptCatalog) Latest() *catalog.Snapshot {
	if k.lock.TryLock() {
		stale := k.now().Sub(k.looked) > freshFor
		k.lock.Unlock()
		if stale {
			ctx, cancel := context.WithTimeout(context.Background(), time.Second)
			defer cancel()
			_ = k.refresh(ctx) // the store's own faults show where it is used
		}
	}
	return k.Snapshot()
}

// refresh takes up the newest revision of the store.
func (k *KeptCatalog) refresh(ctx context.Context) error {
	k.lock.Lock()
	defer k.lock.Unlock()
	k.looked = k.now()
	return k.store.View(ctx, store.Fleet, func(ctx context.Context, r store.Reader) error {
		entry, revision, err := newest(ctx, r)
		if err != nil || entry == k.seq {
			return err
		}
		snapshot, err := k.read(ctx, r, revision)
		if err != nil {
			return err
		}
		k.seq = entry
		k.current.Store(snapshot)
		return nil
	})
}

// newest returns the last entry of the fleet's log and the revision it names.
func newest(ctx context.Context, r store.Reader) (int64, string, error) {
	head, err := r.Head(ctx)
	if err != nil || head.Seq == 0 {
		return 0, "", err
	}
	last, err := r.Movements(ctx, store.MovementFilter{}, head.Seq-1, 1)
	if err != nil {
		return 0, "", err
	}
	if len(last) != 1 {
		return 0, "", store.Errorf(store.Corrupt, "LOG_CUT", "the log of the fleet lacks entry %d", head.Seq)
	}
	revision, err := revisionIn(last[0])
	return head.Seq, revision, err
}

// revisionIn is the revision that an entry of the fleet's log names.
func revisionIn(m store.Movement) (string, error) {
	var entry catalogEntry
	if err := json.Unmarshal(m.Detail, &entry); err != nil || m.Event != changeCatalog {
		return "", &store.Error{Class: store.Corrupt, Reason: "LOG_DETAIL", Text: fmt.Sprintf("entry %d of the log of the fleet names no revision of the catalog", m.Seq), Err: err}
	}
	return entry.Revision, nil
}

// read reads one revision.
func (k *KeptCatalog) read(ctx context.Context, r store.Reader, revision string) (*catalog.Snapshot, error) {
	row, err := r.CatalogRevision(ctx, revision)
	if err != nil {
		return nil, err
	}
	contents := &bowrollv1.CatalogContents{}
	if err := proto.Unmarshal(row.Body, contents); err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "CATALOG_UNREADABLE", Text: "revision " + revision + " of the catalog cannot be read", Err: err}
	}
	snapshot, err := catalog.FromContents(contents, k.validator)
	if err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "CATALOG_INVALID", Text: "revision " + revision + " of the catalog breaks the rules of this program", Err: err}
	}
	return snapshot, nil
}

// write makes a snapshot the revision that holds.
func (k *KeptCatalog) write(ctx context.Context, tx store.Tx, snapshot *catalog.Snapshot, actor, reason, request string) error {
	now := store.FromMicros(store.Micros(k.now()))
	if _, err := tx.InsertCatalogRevision(ctx, store.CatalogRevision{
		Revision: snapshot.Revision(), Actor: actor, Note: reason, Body: encoded(snapshot.Contents()), CreateTime: now,
	}); err != nil {
		return err
	}
	head, err := tx.Head(ctx)
	if err != nil {
		return err
	}
	detail, err := json.Marshal(catalogEntry{Revision: snapshot.Revision()})
	if err != nil {
		return err
	}
	entries := []store.Movement{{
		Site: store.Fleet, Event: changeCatalog, Time: now, Actor: actor, Reason: reason, Request: request, Detail: detail,
	}}
	store.Chain(head, entries)
	return tx.Append(ctx, entries)
}

// catalogMutation is a request that changes the catalog.
type catalogMutation interface {
	mutation
	GetReason() string
	GetValidateOnly() bool
}

// change makes what edit makes of the catalog the revision that holds, and
// returns what answer says of it. The same request sent again gets the first
// answer. What is in use cannot be taken out.
func (k *KeptCatalog) change(ctx context.Context, method string, r catalogMutation, into proto.Message,
	edit func(before *catalog.Snapshot) (*catalog.Snapshot, error), answer func(before, after *catalog.Snapshot) proto.Message) error {
	actor, err := actorOf(ctx, r.GetActor())
	if err != nil {
		return refused(err)
	}
	used, err := k.uses(ctx)
	if err != nil {
		return refused(err)
	}
	request := store.Request{ID: r.GetRequestId(), Method: method, Hash: hashOf(r), Time: k.now()}
	if r.GetValidateOnly() {
		request.ID = ""
	}
	result, _, err := k.store.Update(ctx, store.Fleet, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		_, revision, err := newest(ctx, tx)
		if err != nil {
			return nil, err
		}
		before, err := k.read(ctx, tx, revision)
		if err != nil {
			return nil, err
		}
		after, err := edit(before)
		if err != nil {
			return nil, err
		}
		if err := used.permit(catalog.Diff(before, after)); err != nil {
			return nil, err
		}
		if after.Revision() != before.Revision() {
			if err := k.write(ctx, tx, after, actor, r.GetReason(), r.GetRequestId()); err != nil {
				return nil, err
			}
		}
		b := encoded(answer(before, after))
		if r.GetValidateOnly() {
			return nil, errors.Join(errChecked, proto.Unmarshal(b, into))
		}
		return b, nil
	})
	if errors.Is(err, errChecked) {
		return nil
	}
	if err != nil {
		return refused(err)
	}
	if err := proto.Unmarshal(result, into); err != nil {
		return fmt.Errorf("the answer kept for a request cannot be read: %w", err)
	}
	return refused(k.refresh(ctx))
}
