package storetest

import (
	"context"
	"reflect"
	"testing"
	"time"

	"bowroll/server/store"
)

func (b *bench) tryWrite(change func(ctx context.Context, tx store.Tx) error) error {
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, change(ctx, tx)
	})
	return err
}

func observedRun(id string) store.ObservedRun {
	return store.ObservedRun{
		ID: id, AircraftType: "aircraftTypes/gull", Tail: "g-1", Deck: "sites/x/decks/main", Lot: "lot-a", Plan: "dawn", Sortie: "gull-1",
		LaunchTime: dawn.Add(time.Hour), Actor: "analyst", ModelVersion: "1.0.0", CatalogRevision: "sha256:0", Body: []byte{0, 1, 2}, CreateTime: dawn,
	}
}

// observedRuns: a run comes back as it was, is found by what it is chosen by, and
// stays; one record supersedes it, and no second.
func observedRuns(t *testing.T, b *bench) {
	insert := func(run store.ObservedRun) error {
		return b.tryWrite(func(ctx context.Context, tx store.Tx) error { return tx.InsertObservedRun(ctx, run) })
	}
	first := observedRun("r-10")
	other := observedRun("r-2")
	other.Tail, other.Plan = "g-2", ""
	for _, run := range []store.ObservedRun{first, other} {
		if err := insert(run); err != nil {
			t.Fatal(err)
		}
	}
	wantClass(t, insert(first), store.Exists, "r-10")
	correcting := observedRun("r-3")
	correcting.Supersedes = "r-10"
	missing := observedRun("r-4")
	missing.Supersedes = "r-99"
	wantClass(t, insert(missing), store.NotFound, "r-99")
	if err := insert(correcting); err != nil {
		t.Fatal(err)
	}
	again := observedRun("r-5")
	again.Supersedes = "r-10"
	wantClass(t, insert(again), store.Changed, "r-3")

	b.view(func(ctx context.Context, r store.Reader) error {
		got, err := r.ObservedRun(ctx, "r-10")
		want := first
		want.Site, want.SupersededBy = b.site, "r-3"
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v, want %+v: %v", got, want, err)
		}
		_, err = r.ObservedRun(ctx, "r-99")
		wantClass(t, err, store.NotFound, "r-99")
		for _, test := range []struct {
			filter store.ObservedRunFilter
			after  string
			limit  int
			want   []string
		}{
			{store.ObservedRunFilter{}, "", 10, []string{"r-2", "r-3"}},
			{store.ObservedRunFilter{Superseded: true}, "", 10, []string{"r-10", "r-2", "r-3"}},
			{store.ObservedRunFilter{Superseded: true}, "r-10", 1, []string{"r-2"}},
			{store.ObservedRunFilter{Tail: "g-2"}, "", 10, []string{"r-2"}},
			{store.ObservedRunFilter{Plan: "dawn"}, "", 10, []string{"r-3"}},
			{store.ObservedRunFilter{AircraftType: "aircraftTypes/gull", Deck: "sites/x/decks/main", Lot: "lot-a"}, "", 10, []string{"r-2", "r-3"}},
			{store.ObservedRunFilter{Lot: "lot-b"}, "", 10, nil},
		} {
			list, err := r.ObservedRuns(ctx, test.filter, test.after, test.limit)
			if err != nil {
				return err
			}
			var ids []string
			for _, run := range list {
				ids = append(ids, run.ID)
			}
			if !reflect.DeepEqual(ids, test.want) {
				t.Errorf("%+v after %q: %v, want %v", test.filter, test.after, ids, test.want)
			}
		}
		return nil
	})
}

// corrections: each state is numbered, and replaced only by who saw it.
func corrections(t *testing.T, b *bench) {
	proposed := store.Correction{
		ID: "gull-1", State: store.CorrectionProposed, AircraftType: "aircraftTypes/gull", CatalogRevision: "sha256:0",
		Body: []byte("fit"), CreateTime: dawn, UpdateTime: dawn, Seq: 1,
	}
	put := func(c store.Correction, was int64) error {
		return b.tryWrite(func(ctx context.Context, tx store.Tx) error { return tx.PutCorrection(ctx, c, was) })
	}
	if err := put(proposed, 0); err != nil {
		t.Fatal(err)
	}
	wantClass(t, put(proposed, 0), store.Exists, "gull-1")
	accepted := proposed
	accepted.State, accepted.Seq, accepted.Body, accepted.UpdateTime = store.CorrectionAccepted, 2, []byte("decided"), dawn.Add(time.Hour)
	if err := put(accepted, 1); err != nil {
		t.Fatal(err)
	}
	wantClass(t, put(accepted, 1), store.Changed, "gull-1")
	other := proposed
	other.ID, other.AircraftType = "tern-1", "aircraftTypes/tern"
	if err := put(other, 0); err != nil {
		t.Fatal(err)
	}
	b.view(func(ctx context.Context, r store.Reader) error {
		got, err := r.Correction(ctx, "gull-1")
		if err != nil || !reflect.DeepEqual(got, accepted) {
			t.Errorf("got %+v, want %+v: %v", got, accepted, err)
		}
		_, err = r.Correction(ctx, "gull-9")
		wantClass(t, err, store.NotFound, "gull-9")
		for _, test := range []struct {
			kind, after string
			want        int
		}{{"", "", 2}, {"aircraftTypes/tern", "", 1}, {"", "gull-1", 1}, {"aircraftTypes/heron", "", 0}} {
			list, err := r.Corrections(ctx, test.kind, test.after, 10)
			if err != nil || len(list) != test.want {
				t.Errorf("corrections of %q after %q: %d, want %d: %v", test.kind, test.after, len(list), test.want, err)
			}
		}
		return nil
	})
}
