package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/testdata/longer"
)

var errOwn = errors.New("the change thinks better of it")

func errorLeavesNoTrace(t *testing.T, b *bench) {
	err := b.try(func(ctx context.Context, book *ledger.Book) error {
		if _, err := book.ReceiveLot(ctx, boosters("lot-a", 90), serials("u", 3), "mag-1", "delivery"); err != nil {
			return err
		}
		if err := book.Close(ctx); err != nil {
			return err
		}
		return errOwn
	})
	if !errors.Is(err, errOwn) {
		t.Errorf("got %v", err)
	}
	b.empty()
}

func panicLeavesNoTrace(t *testing.T, b *bench) {
	err := b.try(func(ctx context.Context, book *ledger.Book) error {
		if _, err := book.ReceiveLot(ctx, boosters("lot-a", 90), nil, "mag-1", "delivery"); err != nil {
			return err
		}
		if err := book.Close(ctx); err != nil {
			return err
		}
		panic("a fault of the program")
	})
	wantClass(t, err, store.Internal)
	b.empty()
	b.stock(boosters("lot-a", 90), serials("u", 1))
}

// empty checks that the site holds nothing.
func (b *bench) empty() {
	b.t.Helper()
	b.view(func(ctx context.Context, r store.Reader) error {
		head, err := r.Head(ctx)
		if err != nil {
			return err
		}
		lots, err := r.Lots(ctx, "", 10)
		if head.Seq != 0 || len(lots) != 0 {
			b.t.Errorf("left behind: head %d, lots %v", head.Seq, lots)
		}
		return err
	})
}

func contextEnds(t *testing.T, b *bench) {
	ctx, cancel := context.WithCancel(context.Background())
	_, _, err := b.Update(ctx, b.site, store.Request{ID: "ends"}, func(inner context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(inner, tx, b.by())
		if err != nil {
			return nil, err
		}
		if _, err := book.ReceiveLot(inner, boosters("lot-a", 90), nil, "mag-1", "delivery"); err != nil {
			return nil, err
		}
		cancel()
		return nil, book.Close(inner)
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	b.empty()
	if _, _, err := b.Update(ctx, b.site, store.Request{}, func(context.Context, store.Tx) ([]byte, error) { return nil, nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end: %v", err)
	}
}

func sitesAreApart(t *testing.T, b *bench) {
	other := newBench(t, b.Store)
	b.stock(boosters("lot-a", 90), serials("u", 2))
	other.empty()
	other.stock(boosters("lot-a", 30), serials("u", 3))
	b.view(func(ctx context.Context, r store.Reader) error {
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 10)
		if len(units) != 2 || units[0].Site != b.site {
			t.Errorf("%d units: %v", len(units), units)
		}
		return err
	})
	sites, err := b.Sites(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, site := range sites {
		if site == b.site || site == other.site {
			found++
		}
	}
	if found != 2 {
		t.Errorf("Sites lacks one of ours: %v", sites)
	}
}

// once runs a change with a request id that counts how often it ran.
func (b *bench) once(id string, body byte, ran *int) ([]byte, bool, error) {
	return b.Update(context.Background(), b.site, store.Request{ID: id, Method: "Test", Hash: [32]byte{body}, Time: b.now},
		func(ctx context.Context, tx store.Tx) ([]byte, error) {
			*ran++
			revision, err := tx.InsertCatalogRevision(ctx, store.CatalogRevision{Revision: fmt.Sprintf("r%d", *ran), Actor: "a"})
			return []byte(revision.Revision), err
		})
}

func receiptSameAgain(t *testing.T, b *bench) {
	ran := 0
	first, replayed, err := b.once("req-1", 1, &ran)
	if err != nil || replayed || string(first) != "r1" {
		t.Fatalf("%q %v %v", first, replayed, err)
	}
	again, replayed, err := b.once("req-1", 1, &ran)
	if err != nil || !replayed || string(again) != "r1" || ran != 1 {
		t.Errorf("%q %v %v, ran %d times", again, replayed, err, ran)
	}
	// Another site knows nothing of it.
	if other, replayed, err := newBench(t, b.Store).once("req-1", 1, &ran); err != nil || replayed || string(other) != "r2" {
		t.Errorf("at another site: %q %v %v", other, replayed, err)
	}
}

func receiptOtherBody(t *testing.T, b *bench) {
	ran := 0
	if _, _, err := b.once("req-1", 1, &ran); err != nil {
		t.Fatal(err)
	}
	_, _, err := b.once("req-1", 2, &ran)
	wantClass(t, err, store.Reused, "req-1")
	_, _, err = b.Update(context.Background(), b.site, store.Request{ID: "req-1", Method: "Other", Hash: [32]byte{1}},
		func(context.Context, store.Tx) ([]byte, error) { ran++; return nil, nil })
	wantClass(t, err, store.Reused)
	if ran != 1 {
		t.Errorf("ran %d times", ran)
	}
}

func receiptOfAFailure(t *testing.T, b *bench) {
	request := store.Request{ID: "req-1", Method: "Test"}
	_, _, err := b.Update(context.Background(), b.site, request, func(context.Context, store.Tx) ([]byte, error) { return nil, errOwn })
	if !errors.Is(err, errOwn) {
		t.Fatal(err)
	}
	// A refusal is no answer: the same request may succeed later.
	result, replayed, err := b.Update(context.Background(), b.site, request, func(context.Context, store.Tx) ([]byte, error) { return nil, nil })
	if err != nil || replayed || len(result) != 0 {
		t.Errorf("%q %v %v", result, replayed, err)
	}
	result, replayed, err = b.Update(context.Background(), b.site, request, func(context.Context, store.Tx) ([]byte, error) { return nil, errOwn })
	if err != nil || !replayed || len(result) != 0 {
		t.Errorf("an empty answer is an answer: %q %v %v", result, replayed, err)
	}
}

func receiptConcurrent(t *testing.T, b *bench) {
	var (
		wait    sync.WaitGroup
		lock    sync.Mutex
		answers = map[string]int{}
		fresh   int
	)
	for range 32 {
		wait.Go(func() {
			ran := 0
			answer, replayed, err := b.once("req-1", 1, &ran)
			lock.Lock()
			defer lock.Unlock()
			if err != nil {
				t.Error(err)
			}
			if !replayed {
				fresh++
			}
			answers[string(answer)]++
		})
	}
	wait.Wait()
	if fresh != 1 || answers["r1"] != 32 {
		t.Errorf("%d fresh answers: %v", fresh, answers)
	}
}

func snapshotsHold(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("u", 2))
	b.view(func(ctx context.Context, r store.Reader) error {
		before, err := r.Head(ctx)
		if err != nil {
			return err
		}
		done := make(chan error, 1)
		go func() {
			done <- b.try(func(ctx context.Context, book *ledger.Book) error {
				_, err := book.ReceiveLot(ctx, boosters("lot-b", 90), nil, "mag-1", "delivery")
				return err
			})
		}()
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(50 * time.Millisecond):
			// A backend whose reads share the writer's connection waits for us.
		}
		after, err := r.Head(ctx)
		if before != after {
			t.Errorf("the snapshot moved from %d to %d", before.Seq, after.Seq)
		}
		return err
	})
}

func acknowledgedIsVisible(t *testing.T, b *bench) {
	for i := range 20 {
		id := fmt.Sprintf("lot-%02d", i)
		b.change(func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ReceiveLot(ctx, boosters(id, 90), nil, "mag-1", "delivery")
			return err
		})
		b.view(func(ctx context.Context, r store.Reader) error {
			_, err := r.Lot(ctx, id)
			return err
		})
	}
}

// writersOnOneRow lets 16 writers read, change and write one lot under its
// entry; nothing is lost.
func writersOnOneRow(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), nil)
	const writers = 16
	each := longer.Count(t, "BOWROLL_UPDATES", 80) / writers
	var wait sync.WaitGroup
	for range writers {
		wait.Go(func() {
			for done := 0; done < each; {
				var seen int64
				if err := b.View(context.Background(), b.site, func(ctx context.Context, r store.Reader) error {
					lot, err := r.Lot(ctx, "lot-a")
					seen = lot.Seq
					return err
				}); err != nil {
					t.Error(err)
					return
				}
				err := b.try(func(ctx context.Context, book *ledger.Book) error {
					lot := boosters("lot-a", 90)
					_, err := book.ChangeLot(ctx, lot, seen, "again")
					return err
				})
				switch {
				case err == nil:
					done++
				case !store.Is(err, store.Changed):
					t.Error(err)
					return
				}
			}
		})
	}
	wait.Wait()
	b.view(func(ctx context.Context, r store.Reader) error {
		head, err := r.Head(ctx)
		if head.Seq != int64(1+writers*each) {
			t.Errorf("%d changes are in the log, %d were acknowledged", head.Seq-1, writers*each)
		}
		return err
	})
}

func closed(t *testing.T, s store.Store) {
	if err := s.Close(); err != nil {
		t.Errorf("close: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Errorf("close again: %v", err)
	}
	_, _, err := s.Update(context.Background(), "tern", store.Request{}, func(context.Context, store.Tx) ([]byte, error) { return nil, nil })
	wantClass(t, err, store.Unavailable)
	err = s.View(context.Background(), "tern", func(context.Context, store.Reader) error { return nil })
	wantClass(t, err, store.Unavailable)
}
