package ledger_test

import (
	"context"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// log reads the whole log of the site.
func (s *site) log() (entries []store.Movement) {
	s.t.Helper()
	if err := s.store.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) (err error) {
		entries, err = r.Movements(ctx, store.MovementFilter{}, 0, 100000)
		return err
	}); err != nil {
		s.t.Fatal(err)
	}
	return entries
}

func (s *site) merge(entries []store.Movement) (merged ledger.Merged, err error) {
	_, _, err = s.store.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		merged, err = ledger.Merge(ctx, tx, entries, nil)
		return nil, err
	})
	return merged, err
}

// A copy ashore follows the ship's log over a link that cuts, in parts that
// overlap, and ends with the same stock; nothing is added twice.
func TestACopyFollows(t *testing.T) {
	ship, shore := newSite(t), newSite(t)
	wait := 600.0
	ship.primed(&wait, nil)
	ship.mustTake(step(store.Issue, "u-1"), step(store.Issue, "g-1"), step(store.Fit, "u-1"), fitIgniter("u-1", "g-1"), step(store.Arm, "u-1"), step(store.Misfire, "u-1"))
	ship.must(func(ctx context.Context, book *ledger.Book) error {
		_, _, err := book.SuspendLot(ctx, "lot-b", "a misfire", "")
		return err
	})
	all := ship.log()
	for from := 0; from < len(all); from += 3 {
		part := all[max(0, from-2):min(len(all), from+4)]
		if _, err := shore.merge(part); err != nil {
			t.Fatalf("from %d: %v", from, err)
		}
	}
	again, err := shore.merge(all)
	if err != nil || again.Added != 0 || again.Known != len(all) || again.Head.Hash != all[len(all)-1].Hash {
		t.Errorf("%+v %v", again, err)
	}
	for _, id := range []string{"u-1", "u-2", "g-1", "g-3"} {
		if ship.unit(id) != shore.unit(id) {
			t.Errorf("%+v\n%+v", ship.unit(id), shore.unit(id))
		}
	}
	// The shore does not act on the ship's stock.
	refused(t, shore.take(step(store.Move, "u-3")), store.Refused, "SITE_ELSEWHERE")
	// A gap, damage, and another history are each refused, and change nothing.
	ship.mustTake(ledger.Step{Unit: "u-3", Event: store.Move, Place: "mag-9", Reason: "room"}, ledger.Step{Unit: "u-3", Event: store.Move, Place: "mag-8", Reason: "room"})
	more := ship.log()
	_, err = shore.merge(more[len(more)-1:])
	refused(t, err, store.Refused, "LOG_GAP")
	bent := append([]store.Movement(nil), more...)
	bent[len(bent)-1].Place = "nowhere"
	_, err = shore.merge(bent)
	refused(t, err, store.Invalid, "LOG_DAMAGED")
	forged := append([]store.Movement(nil), more[:len(all)]...)
	last := &forged[len(all)-1]
	last.Time = last.Time.Add(time.Hour)
	last.Hash = last.Sum()
	_, err = shore.merge(forged)
	refused(t, err, store.Refused, "LOG_CONFLICT")
	if _, err := shore.merge(more); err != nil {
		t.Error(err)
	}
	// Nor does the ship take another's word for its own log.
	_, err = ship.merge(more)
	if err != nil {
		t.Errorf("its own log comes back: %v", err)
	}
	other := newSite(t)
	other.must(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ReceiveLot(ctx, store.Lot{ID: "lot-z", Kind: store.Booster, Type: "b", ExpireTime: dawn.AddDate(1, 0, 0)}, nil, "mag-1", "d")
		return err
	})
	_, err = other.merge(more)
	refused(t, err, store.Refused, "LOG_CONFLICT")
	other.must(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ReceiveUnits(ctx, "lot-z", nil, "mag-1", "d")
		return err
	})
	own := other.log()
	next := store.Movement{Site: "tern", Time: dawn, Event: store.Suspend, Lot: "lot-z", Actor: "somebody", Reason: "x"}
	list := []store.Movement{next}
	store.Chain(store.Head{Seq: own[len(own)-1].Seq, Hash: own[len(own)-1].Hash}, list)
	_, err = other.merge(list)
	refused(t, err, store.Refused, "SITE_AT_HOME")
}
