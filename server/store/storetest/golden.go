package storetest

import (
	"context"
	"testing"
	"time"

	"bowroll/server/store"
)

// goldenRequest is a request whose answer every golden database holds.
var goldenRequest = store.Request{ID: "golden-request", Method: "Golden", Hash: [32]byte{1, 2, 3}, Time: dawn}

// Fill does everything that the ledger can do on a new store, keeps the answer to
// a request and a revision of the catalog. What it leaves is the same each time.
func Fill(t testing.TB, s store.Store) {
	b := &bench{Store: s, t: t, site: "golden", now: dawn}
	for _, act := range scenario() {
		if err := b.try(act.run); err != nil {
			t.Fatalf("%s: %v", act.name, err)
		}
	}
	if _, _, err := s.Update(context.Background(), b.site, goldenRequest, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		_, err := tx.InsertCatalogRevision(ctx, store.CatalogRevision{
			Revision: "sha256:0123456789abcdef", Actor: "custodian", Note: "first", Body: []byte("body"), CreateTime: dawn,
		})
		return []byte("the first answer"), err
	}); err != nil {
		t.Fatal(err)
	}
}

// Describe says all that a store filled by [Fill] holds, as text, having checked
// it whole and sent the kept request again.
func Describe(t testing.TB, s store.Store) string {
	t.Helper()
	ctx := context.Background()
	if err := s.Check(ctx); err != nil {
		t.Fatal(err)
	}
	b := &bench{Store: s, t: t, site: "golden", now: dawn}
	text := b.everything() + "\n"
	b.view(func(ctx context.Context, r store.Reader) error {
		revision, err := r.CatalogRevision(ctx, "")
		text += revision.Revision + " by " + revision.Actor + ": " + revision.Note + ", " + string(revision.Body) + ", " + revision.CreateTime.Format(time.RFC3339) + "\n"
		return err
	})
	again, replayed, err := s.Update(ctx, b.site, goldenRequest, func(context.Context, store.Tx) ([]byte, error) {
		t.Error("a request that was answered is run again")
		return nil, nil
	})
	if err != nil || !replayed {
		t.Fatalf("the kept answer: replayed %v, %v", replayed, err)
	}
	return text + string(again) + "\n"
}
