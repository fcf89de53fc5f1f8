package storetest

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"bowroll/server/store"
)

func oneSweep(id string) store.Sweep {
	return store.Sweep{
		ID: id, DisplayName: "wind and mass", State: store.SweepQueued, Spec: []byte{0, 1, 2}, ModelVersion: "1.0.0", CatalogRevision: "sha256:0", RequestDigest: "sha256:1",
		Rows: 300, ChunkRows: 100, Chunks: 3, CreateTime: dawn, Version: 1,
	}
}

// sweeps: a sweep comes back as it was, changes under its version alone, and is
// chosen by its state; each of its parts counts once, whoever brings it.
func sweeps(t *testing.T, b *bench) {
	put := func(s store.Sweep, was int64) error {
		return b.tryWrite(func(ctx context.Context, tx store.Tx) error { return tx.PutSweep(ctx, s, was) })
	}
	first, second := oneSweep("a-10"), oneSweep("a-2")
	for _, s := range []store.Sweep{first, second} {
		if err := put(s, 0); err != nil {
			t.Fatal(err)
		}
	}
	wantClass(t, put(first, 0), store.Exists, "a-10")
	get := func(id string) (s store.Sweep, err error) {
		_ = b.View(context.Background(), b.site, func(ctx context.Context, r store.Reader) error {
			s, err = r.Sweep(ctx, id)
			return nil
		})
		return s, err
	}
	want := first
	want.Site = b.site
	if got, err := get("a-10"); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v: %v", got, want, err)
	}
	_, err := get("a-99")
	wantClass(t, err, store.NotFound, "a-99")

	part := func(n int64) store.SweepChunk {
		return store.SweepChunk{Chunk: n, Rows: 100, Refused: 3, Goes: 40 + n, Bytes: 1000, Sum: [32]byte{byte(n), 31: 7}, CPUMicros: 500}
	}
	finish := func(n int64) (counted bool, err error) {
		err = b.tryWrite(func(ctx context.Context, tx store.Tx) (err error) {
			counted, err = tx.FinishChunk(ctx, "a-10", part(n))
			return err
		})
		return counted, err
	}
	for _, step := range []struct {
		part  int64
		first bool
	}{{2, true}, {0, true}, {2, false}, {0, false}} {
		if counted, err := finish(step.part); err != nil || counted != step.first {
			t.Errorf("part %d counted %v, want %v: %v", step.part, counted, step.first, err)
		}
	}
	// What fails afterwards is not counted.
	later := errors.New("later")
	if err := b.tryWrite(func(ctx context.Context, tx store.Tx) error {
		if _, err := tx.FinishChunk(ctx, "a-10", part(1)); err != nil {
			return err
		}
		return later
	}); !errors.Is(err, later) {
		t.Error(err)
	}
	want.ChunksDone, want.RowsDone, want.Refused, want.Goes, want.Bytes, want.CPUMicros = 2, 200, 6, 82, 2000, 1000
	if got, err := get("a-10"); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v: %v", got, want, err)
	}
	b.view(func(ctx context.Context, r store.Reader) error {
		for _, ask := range []struct {
			from  int64
			limit int
			want  []store.SweepChunk
		}{{0, 9, []store.SweepChunk{part(0), part(2)}}, {1, 9, []store.SweepChunk{part(2)}}, {0, 1, []store.SweepChunk{part(0)}}, {3, 9, nil}} {
			if got, err := r.SweepChunks(ctx, "a-10", ask.from, ask.limit); err != nil || !reflect.DeepEqual(got, ask.want) {
				t.Errorf("%d parts from %d: %+v, want %+v: %v", ask.limit, ask.from, got, ask.want, err)
			}
		}
		return nil
	})

	ended := want
	ended.State, ended.Reason, ended.StartTime, ended.EndTime, ended.Version = store.SweepCancelled, "fog", dawn.Add(time.Second), dawn.Add(time.Minute), 2
	wantClass(t, put(ended, 7), store.Changed, "a-10")
	forged := ended
	forged.RowsDone, forged.Spec, forged.Rows = 1, []byte{9}, 9 // neither is what a change of state changes
	if err := put(forged, 1); err != nil {
		t.Fatal(err)
	}
	if got, err := get("a-10"); err != nil || !reflect.DeepEqual(got, ended) {
		t.Errorf("got %+v, want %+v: %v", got, ended, err)
	}
	list := func(filter store.SweepFilter, after string, limit int) string {
		var ids []string
		b.view(func(ctx context.Context, r store.Reader) error {
			found, err := r.Sweeps(ctx, filter, after, limit)
			for _, s := range found {
				ids = append(ids, s.ID)
				if len(s.Spec) > 0 {
					t.Errorf("the list has what %s was asked", s.ID)
				}
			}
			return err
		})
		return strings.Join(ids, " ")
	}
	for _, ask := range []struct{ got, want string }{
		{list(store.SweepFilter{}, "", 9), "a-10 a-2"},
		{list(store.SweepFilter{}, "a-10", 9), "a-2"},
		{list(store.SweepFilter{}, "", 1), "a-10"},
		{list(store.SweepFilter{State: store.SweepQueued}, "", 9), "a-2"},
		{list(store.SweepFilter{State: store.SweepCancelled}, "", 9), "a-10"},
		{list(store.SweepFilter{State: store.SweepDone}, "", 9), ""},
	} {
		if ask.got != ask.want {
			t.Errorf("listed %q, want %q", ask.got, ask.want)
		}
	}

	other := newBench(t, b.Store)
	if err := other.tryWrite(func(ctx context.Context, tx store.Tx) error { return tx.PutSweep(ctx, oneSweep("a-10"), 0) }); err != nil {
		t.Errorf("another site has a sweep of the same name: %v", err)
	}
	remove := func(was int64) error {
		return b.tryWrite(func(ctx context.Context, tx store.Tx) error { return tx.DeleteSweep(ctx, "a-10", was) })
	}
	wantClass(t, remove(1), store.Changed, "a-10")
	if got, err := get("a-10"); err != nil || got.ChunksDone != 2 {
		t.Errorf("a refused deletion changed it: %+v, %v", got, err)
	}
	if err := remove(2); err != nil {
		t.Fatal(err)
	}
	_, err = get("a-10")
	wantClass(t, err, store.NotFound, "a-10")
	if err := put(oneSweep("a-10"), 0); err != nil { // a namesake begins with nothing
		t.Fatal(err)
	}
	if counted, err := finish(2); err != nil || !counted {
		t.Errorf("a part of the namesake: %v, %v", counted, err)
	}
	other.view(func(ctx context.Context, r store.Reader) error {
		s, err := r.Sweep(ctx, "a-10")
		if s.ChunksDone != 0 {
			t.Errorf("parts of one site counted for another: %+v", s)
		}
		return err
	})
}
