package sqlite_test

import (
	"context"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/server/store/sqlite"
	"bowroll/testdata/longer"
)

// tally is what a run of power cuts found.
type tally struct{ cuts, acknowledged, lost, unacknowledged, corrupt int }

// cutPower runs the store's own code on disks whose power fails, boots of them
// one after the other for each seed, and counts what is missing after each.
func cutPower(t *testing.T, seeds, boots int, synchronous string) (sum tally) {
	for seed := range seeds {
		d := newDisk(uint64(seed))
		name := fmt.Sprintf("power-%s-%d", synchronous, seed)
		vfs.Register(name, d)
		options := sqlite.Options{VFS: name, Exclusive: true, Synchronous: synchronous}
		acknowledged, n := map[string]bool{}, 0
		for boot := 0; boot <= boots; boot++ {
			if boot < boots {
				d.left = d.random.IntN(160)
				if boot == 0 && (seed%10 != 0 || synchronous != "FULL") {
					d.left += 400 // a new file: the cut comes in its making for one in ten
				}
			}
			s, err := sqlite.Open(context.Background(), "bowroll.db", options)
			if err == nil {
				sum.compare(t, s, acknowledged, n)
				if boot < boots {
					n = fill(s, acknowledged, n)
				}
				s.Close()
			} else if d.left != 0 {
				sum.corrupt++
				if synchronous == "FULL" {
					t.Errorf("seed %d, boot %d: %v", seed, boot, err)
				}
				break
			}
			if boot < boots {
				sum.cuts++
			}
			d.reboot()
		}
		vfs.Unregister(name)
	}
	return sum
}

// fill receives one unit after the other until the power fails.
func fill(s *sqlite.Store, acknowledged map[string]bool, n int) int {
	for {
		n++
		id := fmt.Sprintf("u-%05d", n)
		_, _, err := s.Update(context.Background(), "tern", store.Request{ID: "request-" + id}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
			book, err := ledger.Open(ctx, tx, ledger.By{Actor: "k", Time: time.Unix(1e9, 0)})
			if err != nil {
				return nil, err
			}
			if _, err := book.ReceiveUnits(ctx, "lot-a", []string{id}, "mag-1", "delivery"); store.Is(err, store.NotFound) {
				_, err = book.ReceiveLot(ctx, store.Lot{ID: "lot-a", Kind: store.Booster, Type: "b", ExpireTime: time.Unix(2e9, 0)}, []string{id}, "mag-1", "delivery")
				if err != nil {
					return nil, err
				}
			} else if err != nil {
				return nil, err
			}
			return []byte(id), book.Close(ctx)
		})
		if err != nil {
			return n
		}
		acknowledged[id] = true
	}
}

// compare looks for what was acknowledged, once each; opening has checked the
// whole file, the chain and the fold.
func (sum *tally) compare(t *testing.T, s *sqlite.Store, acknowledged map[string]bool, n int) {
	found := map[string]bool{}
	err := s.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) error {
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 1<<20)
		for _, unit := range units {
			found[unit.ID] = true
		}
		return err
	})
	if err != nil {
		return // the power failed while looking
	}
	for id := range acknowledged {
		sum.acknowledged++
		if !found[id] {
			sum.lost++
			delete(acknowledged, id)
		}
	}
	for id := range found {
		if !acknowledged[id] {
			sum.unacknowledged++
			acknowledged[id] = true // what is there now has to stay
		}
	}
}

// powerSeeds is how many seeds to run, of 5 cuts each: the usual number in CI, a
// part of it elsewhere; BOWROLL_POWER_SEEDS sets another number.
func powerSeeds(t *testing.T, usual int) int {
	switch {
	case testing.Short():
		usual = max(1, usual/10)
	case os.Getenv("CI") != "true":
		usual = max(2, usual/5)
	}
	return longer.Count(t, "BOWROLL_POWER_SEEDS", usual)
}

func TestPowerCutsLoseNothing(t *testing.T) {
	sum := cutPower(t, powerSeeds(t, 200), 5, "FULL")
	t.Logf("synchronous=FULL: %+v", sum)
	if sum.lost != 0 || sum.corrupt != 0 || sum.acknowledged == 0 {
		t.Errorf("%+v", sum)
	}
}

// The same test must see losses where the setting permits them.
func TestPowerCutsAtNormalLose(t *testing.T) {
	sum := cutPower(t, powerSeeds(t, 10), 5, "NORMAL")
	t.Logf("synchronous=NORMAL: %+v", sum)
	if sum.lost == 0 {
		t.Errorf("the test cannot see a loss: %+v", sum)
	}
}

// A full disk and a file that cannot be written give clear errors and no damage.
func TestDiskFullAndReadOnly(t *testing.T) {
	for class, code := range map[store.Class]error{store.Full: sqlite3.FULL, store.ReadOnly: sqlite3.READONLY, store.Unavailable: sqlite3.IOERR_FSYNC} {
		d := newDisk(1)
		vfs.Register("fault-"+class.String(), d)
		options := sqlite.Options{VFS: "fault-" + class.String(), Exclusive: true}
		s := open(t, "bowroll.db", options)
		acknowledged := map[string]bool{}
		d.fail = nil
		receive(t, s, acknowledged)
		d.lock.Lock()
		d.fail = code
		d.lock.Unlock()
		err := tryReceive(s, "u-x")
		if !store.Is(err, class) {
			t.Errorf("%v: got %v (%s)", code, err, store.ClassOf(err))
		}
		d.lock.Lock()
		d.fail = nil
		d.lock.Unlock()
		if err := tryReceive(s, "u-y"); err != nil {
			t.Errorf("%v: once there is room again: %v", code, err)
		}
		s.Close()
		again := open(t, "bowroll.db", options)
		var sum tally
		sum.compare(t, again, acknowledged, 0)
		if sum.lost != 0 {
			t.Errorf("%v: %+v", code, sum)
		}
	}
}

func tryReceive(s *sqlite.Store, id string) error {
	_, _, err := s.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: "k", Time: time.Unix(1e9, 0)})
		if err != nil {
			return nil, err
		}
		if _, err := book.ReceiveUnits(ctx, "lot-a", []string{id}, "mag-1", "delivery"); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	})
	return err
}

func receive(t *testing.T, s *sqlite.Store, acknowledged map[string]bool) {
	_, _, err := s.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: "k", Time: time.Unix(1e9, 0)})
		if err != nil {
			return nil, err
		}
		if _, err := book.ReceiveLot(ctx, store.Lot{ID: "lot-a", Kind: store.Booster, Type: "b", ExpireTime: time.Unix(2e9, 0)}, []string{"u-1", "u-2"}, "mag-1", "delivery"); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	})
	if err != nil {
		t.Fatal(err)
	}
	acknowledged["u-1"], acknowledged["u-2"] = true, true
}
