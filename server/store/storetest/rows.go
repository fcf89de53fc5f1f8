package storetest

import (
	"context"
	"fmt"
	"reflect"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

func lotsPage(t *testing.T, b *bench) {
	for _, id := range []string{"lot-c", "lot-a", "lot-b", "lot-10", "lot-2"} {
		b.stock(boosters(id, 90), nil)
	}
	b.view(func(ctx context.Context, r store.Reader) error {
		var got []string
		for after := ""; ; {
			page, err := r.Lots(ctx, after, 2)
			if err != nil {
				return err
			}
			for _, lot := range page {
				got = append(got, lot.ID)
				after = lot.ID
			}
			if len(page) < 2 {
				break
			}
		}
		if want := []string{"lot-10", "lot-2", "lot-a", "lot-b", "lot-c"}; !reflect.DeepEqual(got, want) {
			t.Errorf("got %v, want the order of bytes %v", got, want)
		}
		_, err := r.Lot(ctx, "lot-z")
		wantClass(t, err, store.NotFound, "lot-z")
		return nil
	})
}

func unitsFilterAndPage(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 5))
	b.stock(boosters("lot-b", 90), serials("b", 3))
	b.change(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.Take(ctx, []ledger.Step{
			{Unit: "a-0002", Event: store.Move, Place: "mag-2", Reason: "room"},
			{Unit: "b-0001", Event: store.Quarantine, Reason: "dented"},
		})
		return err
	})
	for _, test := range []struct {
		filter store.UnitFilter
		want   int
	}{
		{store.UnitFilter{}, 8},
		{store.UnitFilter{Lot: "lot-a"}, 5},
		{store.UnitFilter{State: store.Available}, 7},
		{store.UnitFilter{State: store.Quarantined}, 1},
		{store.UnitFilter{Place: "mag-2"}, 1},
		{store.UnitFilter{Lot: "lot-b", State: store.Available, Place: "mag-1"}, 2},
		{store.UnitFilter{Lot: "lot-z"}, 0},
	} {
		b.view(func(ctx context.Context, r store.Reader) error {
			var units []store.Unit
			for after := ""; ; {
				page, err := r.ListUnits(ctx, test.filter, after, 3)
				if err != nil {
					return err
				}
				units = append(units, page...)
				if len(page) < 3 {
					break
				}
				after = page[len(page)-1].ID
			}
			if len(units) != test.want {
				t.Errorf("%+v: %d units, want %d", test.filter, len(units), test.want)
			}
			counts, err := r.CountUnits(ctx, test.filter)
			total := 0
			for _, c := range counts {
				total += c.Count
				if c.Type != "boosterTypes/bolt" || c.Kind != store.Booster {
					t.Errorf("%+v", c)
				}
			}
			if total != test.want {
				t.Errorf("%+v: counted %d, want %d", test.filter, total, test.want)
			}
			return err
		})
	}
}

func unitsMissing(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 2))
	b.view(func(ctx context.Context, r store.Reader) error {
		_, err := r.Units(ctx, []string{"a-0002", "x-1", "a-0001", "x-2"})
		wantClass(t, err, store.NotFound, "x-1, x-2")
		units, err := r.Units(ctx, []string{"a-0002", "a-0001", "a-0002"})
		if len(units) != 2 || units[0].ID != "a-0001" {
			t.Errorf("%v", units)
		}
		none, err2 := r.Units(ctx, nil)
		if len(none) != 0 || err2 != nil {
			t.Errorf("%v %v", none, err2)
		}
		return err
	})
}

func existsNamesTheUnit(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 2))
	err := b.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ReceiveLot(ctx, boosters("lot-b", 90), []string{"b-1", "a-0002", "b-2"}, "mag-1", "delivery")
		return err
	})
	wantClass(t, err, store.Exists, "a-0002")
	err = b.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ReceiveLot(ctx, boosters("lot-a", 90), nil, "mag-1", "delivery")
		return err
	})
	wantClass(t, err, store.Exists, "lot-a")
}

func firstExpiringOrder(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 4))
	// The exposure of one unit shortened its life: it goes first.
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		units, err := tx.Units(ctx, []string{"a-0003"})
		if err != nil {
			return nil, err
		}
		early := units[0]
		early.UsableUntil = dawn.AddDate(0, 0, 10)
		return nil, tx.ReplaceUnits(ctx, []store.Unit{early}, []int64{early.Seq})
	})
	if err != nil {
		t.Fatal(err)
	}
	defer b.repair("a-0003")
	ids := func(until time.Time, limit int) (ids []string) {
		b.view(func(ctx context.Context, r store.Reader) error {
			units, err := r.FirstExpiring(ctx, "lot-a", until, limit)
			for _, unit := range units {
				ids = append(ids, unit.ID)
			}
			return err
		})
		return ids
	}
	if got, want := ids(dawn, 3), []string{"a-0003", "a-0001", "a-0002"}; !reflect.DeepEqual(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got, want := ids(dawn.AddDate(0, 0, 11), 9), []string{"a-0001", "a-0002", "a-0004"}; !reflect.DeepEqual(got, want) {
		t.Errorf("later: got %v, want %v", got, want)
	}
}

// repair puts a unit back as the log says it is.
func (b *bench) repair(id string) {
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		var fold store.Fold
		entries, err := tx.Movements(ctx, store.MovementFilter{}, 0, 1000)
		if err != nil {
			return nil, err
		}
		for _, m := range entries {
			if err := fold.Apply(m); err != nil {
				return nil, err
			}
		}
		unit := fold.Units[id]
		return nil, tx.ReplaceUnits(ctx, []store.Unit{unit}, []int64{unit.Seq})
	})
	if err != nil {
		b.t.Error(err)
	}
}

func replaceNeedsTheEntry(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 1))
	unit := b.unit("a-0001")
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, tx.ReplaceUnits(ctx, []store.Unit{unit}, []int64{unit.Seq - 1})
	})
	wantClass(t, err, store.Changed, "a-0001")
	_, _, err = b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		lot, err := tx.Lot(ctx, "lot-a")
		if err != nil {
			return nil, err
		}
		return nil, tx.PutLot(ctx, lot, lot.Seq+1)
	})
	wantClass(t, err, store.Changed, "lot-a")
}

// noUnitPromisedTwice goes round the ledger: the schema itself refuses.
func noUnitPromisedTwice(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 2))
	b.plan("dawn", "lot-a", 1, 1)
	b.plan("dusk", "lot-a", 1, 1)
	if err := b.confirm("dawn"); err != nil {
		t.Fatal(err)
	}
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, tx.OpenReservations(ctx, []store.Reservation{{Unit: "a-0001", Plan: "dusk", Sortie: "heron-1", Until: dawn, Seq: 999}})
	})
	wantClass(t, err, store.Changed, "a-0001")
	_, _, err = b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return nil, tx.CloseReservations(ctx, []string{"a-0002"}, []int64{999})
	})
	wantClass(t, err, store.Changed, "a-0002")
	b.view(func(ctx context.Context, r store.Reader) error {
		held, err := r.Reservations(ctx, store.ReservationFilter{})
		if len(held) != 1 || held[0].Unit != "a-0001" || held[0].Plan != "dawn" {
			t.Errorf("%+v", held)
		}
		return err
	})
}

func logHasNoForks(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), nil)
	for name, entry := range map[string]store.Movement{
		"same number": {Site: b.site, Seq: 1, Event: store.Suspend, Actor: "a"},
		"gap":         {Site: b.site, Seq: 3, Event: store.Suspend, Actor: "a"},
		"other past":  {Site: b.site, Seq: 2, Event: store.Suspend, Actor: "a", Previous: store.Hash{1}},
	} {
		_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
			return nil, tx.Append(ctx, []store.Movement{entry})
		})
		if !store.Is(err, store.Changed) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func logFolds(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 3))
	b.plan("dawn", "lot-a", 2, 1)
	if err := b.confirm("dawn"); err != nil {
		t.Fatal(err)
	}
	b.view(func(ctx context.Context, r store.Reader) error {
		var fold store.Fold
		for {
			page, err := r.Movements(ctx, store.MovementFilter{}, fold.Head.Seq, 4)
			if err != nil {
				return err
			}
			for _, m := range page {
				if err := fold.Apply(m); err != nil {
					return err
				}
			}
			if len(page) < 4 {
				break
			}
		}
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 10)
		for _, unit := range units {
			if unit != fold.Units[unit.ID] {
				t.Errorf("%+v\n%+v", unit, fold.Units[unit.ID])
			}
		}
		lot, err2 := r.Lot(ctx, "lot-a")
		if err2 == nil && !reflect.DeepEqual(lot, fold.Lots["lot-a"]) {
			t.Errorf("%+v\n%+v", lot, fold.Lots["lot-a"])
		}
		for filter, want := range map[store.MovementFilter]int{
			{Unit: "a-0001"}: 4, {Unit: "a-0003"}: 3, {Lot: "lot-a"}: 12, {Plan: "dawn"}: 4,
		} {
			list, err := r.Movements(ctx, filter, 0, 100)
			if err != nil {
				return err
			}
			if len(list) != want {
				t.Errorf("%+v: %d entries, want %d", filter, len(list), want)
			}
		}
		return err
	})
}

func readingsOnce(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), nil)
	humidity := 0.4
	readings := func() []store.Reading {
		return []store.Reading{
			{Time: dawn, TemperatureC: 20, RelativeHumidity: &humidity, Source: "logger 3"},
			{Time: dawn.Add(time.Hour), TemperatureC: 21.5, Source: "logger 3"},
			{Time: dawn.Add(time.Hour), Place: "mag-2", TemperatureC: 19},
		}
	}
	record := func(readings []store.Reading) (added int, err error) {
		err = b.try(func(ctx context.Context, book *ledger.Book) error {
			added, _, err = book.RecordReadings(ctx, "lot-a", readings)
			return err
		})
		return added, err
	}
	if added, err := record(readings()); err != nil || added != 3 {
		t.Fatalf("%d %v", added, err)
	}
	if added, err := record(append(readings(), store.Reading{Time: dawn.Add(2 * time.Hour), TemperatureC: 20})); err != nil || added != 1 {
		t.Errorf("the same file again: %d %v", added, err)
	}
	contradiction := readings()[:1]
	contradiction[0].TemperatureC = 25
	_, err := record(contradiction)
	wantClass(t, err, store.Refused, "20", "25")
	b.view(func(ctx context.Context, r store.Reader) error {
		list, err := r.Readings(ctx, "lot-a", time.Time{}, 10)
		if len(list) != 4 || list[0].RelativeHumidity == nil || *list[0].RelativeHumidity != 0.4 || list[1].RelativeHumidity != nil {
			t.Errorf("%+v", list)
		}
		later, err2 := r.Readings(ctx, "lot-a", dawn, 2)
		if err2 != nil || len(later) != 2 || later[0].Place != "" || later[1].Place != "mag-2" {
			t.Errorf("%+v %v", later, err2)
		}
		return err
	})
}

func plansRoundTrip(t *testing.T, b *bench) {
	b.stock(boosters("lot-a", 90), serials("a", 4))
	saved := b.plan("dawn", "lot-a", 2, 2)
	b.plan("dusk", "lot-a", 2, 1)
	b.view(func(ctx context.Context, r store.Reader) error {
		got, err := r.Plan(ctx, "dawn")
		if !reflect.DeepEqual(got, saved) {
			t.Errorf("got  %+v\nwant %+v", got, saved)
		}
		_, missing := r.Plan(ctx, "noon")
		wantClass(t, missing, store.NotFound, "noon")
		return err
	})
	if err := b.confirm("dawn"); err != nil {
		t.Fatal(err)
	}
	for filter, want := range map[store.PlanFilter]int{{}: 2, {State: store.Draft}: 1, {State: store.Confirmed}: 1, {State: store.Closed}: 0} {
		b.view(func(ctx context.Context, r store.Reader) error {
			list, err := r.Plans(ctx, filter, "", 10)
			if len(list) != want {
				t.Errorf("%+v: %d plans", filter, len(list))
			}
			return err
		})
	}
}

func catalogRevisions(t *testing.T, b *bench) {
	insert := func(revision, body string) (got store.CatalogRevision) {
		_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) (_ []byte, err error) {
			got, err = tx.InsertCatalogRevision(ctx, store.CatalogRevision{Revision: revision, Actor: "custodian", Note: "n", CreateTime: dawn, Body: []byte(body)})
			return nil, err
		})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	for i := range 3 {
		if got := insert(fmt.Sprintf("sha256:%d", i), fmt.Sprint(i)); got.Seq != int64(i+1) {
			t.Errorf("%+v", got)
		}
	}
	if got := insert("sha256:1", "1"); got.Seq != 2 {
		t.Errorf("the same content again: %+v", got)
	}
	b.view(func(ctx context.Context, r store.Reader) error {
		newest, err := r.CatalogRevision(ctx, "")
		if err != nil || newest.Revision != "sha256:2" || string(newest.Body) != "2" {
			t.Errorf("%+v %v", newest, err)
		}
		_, err = r.CatalogRevision(ctx, "sha256:9")
		wantClass(t, err, store.NotFound, "sha256:9")
		list, err := r.CatalogRevisions(ctx, 3, 5)
		if len(list) != 2 || list[0].Seq != 2 || !list[0].CreateTime.Equal(dawn) {
			t.Errorf("%+v", list)
		}
		return err
	})
}

// everyText sends text that databases and encodings like to trip over.
func everyText(t *testing.T, b *bench) {
	for i, text := range []string{"Bär-Schuppen №4", "a'b\"c\\d", "100 %", "$1 ?2", "日本語", "x'00'", "null", "{}"} {
		lot := boosters(fmt.Sprintf("lot-%d", i), 90)
		lot.DisplayName = text
		b.change(func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ReceiveLot(ctx, lot, []string{fmt.Sprintf("u-%d", i)}, text, text)
			return err
		})
		b.view(func(ctx context.Context, r store.Reader) error {
			got, err := r.Lot(ctx, lot.ID)
			if got.DisplayName != text {
				t.Errorf("%q came back as %q", text, got.DisplayName)
			}
			units, err2 := r.ListUnits(ctx, store.UnitFilter{Place: text}, "", 10)
			if err2 != nil || len(units) != 1 {
				t.Errorf("%q: %v %v", text, units, err2)
			}
			return err
		})
	}
}
