package storetest

import (
	"context"
	"reflect"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// waivers come back as they were recorded, in their order, in a plan and in lists,
// and are what the log says.
func waivers(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 4))
	saved := b.plan("dawn", "lot-a", 2, 2)
	want := saved
	record := func(sortie, caution, reason string, until time.Time) {
		t.Helper()
		b.change(func(ctx context.Context, book *ledger.Book) (err error) {
			want, err = book.RecordWaiver(ctx, "dawn", store.Waiver{
				Sortie: sortie, Caution: caution, Text: "Ein „Rückenwind“ of 2 m/s.", Authority: "Oberleutnant Ø. Brume", Reason: reason, Until: until,
			}, []string{"tailwind", "no-brake-data"})
			return err
		})
	}
	record("heron-2", "tailwind", "dry deck", b.now.Add(time.Hour+time.Nanosecond))
	record("heron-1", "no-brake-data", "stopped by the net", b.now.Add(2*time.Hour))
	if err := b.confirm("dawn"); err != nil {
		t.Fatal(err)
	}
	b.change(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.IssueCard(ctx, "dawn", "heron-2", b.now.Add(time.Hour), []byte("box"))
		return err
	})
	b.now = b.now.Add(time.Minute)
	b.change(func(ctx context.Context, book *ledger.Book) (err error) {
		want, err = book.RevokeWaiver(ctx, "dawn", "heron-2", "tailwind", "another launch was meant")
		return err
	})
	record("heron-2", "tailwind", "dry deck again", b.now.Add(time.Hour))
	b.view(func(ctx context.Context, r store.Reader) error {
		got, err := r.Plan(ctx, "dawn")
		if err != nil {
			return err
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got  %+v\nwant %+v", got, want)
		}
		if n := len(got.Waivers); n != 3 || got.Waivers[0].Card != 1 || got.Waivers[0].Revoked.IsZero() || got.Waivers[2].Card != 0 {
			t.Errorf("%d waivers: %+v", n, got.Waivers)
		}
		list, err := r.Plans(ctx, store.PlanFilter{}, "", 10)
		if err != nil || len(list) != 1 || !reflect.DeepEqual(list[0].Waivers, got.Waivers) {
			t.Errorf("listed as %+v, %v", list, err)
		}
		folded := store.Plan{Cycle: got.Cycle, Answer: got.Answer, Sorties: saved.Sorties}
		log, err := r.Movements(ctx, store.MovementFilter{Plan: "dawn"}, 0, 1000)
		for _, m := range log {
			if folded, err = folded.After(m); err != nil {
				return err
			}
		}
		if !reflect.DeepEqual(folded.Waivers, got.Waivers) || !reflect.DeepEqual(folded.Sorties[1], got.Sorties[1]) {
			t.Errorf("the log says %+v\nand the store %+v", folded, got)
		}
		return err
	})
}
