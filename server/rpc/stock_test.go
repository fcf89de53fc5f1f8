package rpc

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/store/sqlite"
)

// kept is a store with the services over it and a clock that the test moves.
type kept struct {
	t     testing.TB
	path  string
	store *sqlite.Store
	stock *Stock
	plans *Plans
	now   time.Time
	calls int
}

func keeping(t testing.TB) *kept {
	k := &kept{t: t, path: filepath.Join(t.TempDir(), "bowroll.db"), now: testStart}
	k.open()
	return k
}

func (k *kept) open() {
	s, err := sqlite.Open(context.Background(), k.path, sqlite.Options{})
	if err != nil {
		k.t.Fatal(err)
	}
	k.t.Cleanup(func() { s.Close() })
	now := func() time.Time { return k.now }
	k.store, k.stock, k.plans = s, NewStock(s, testSnapshot(k.t), now), NewPlans(s, testSnapshot(k.t), now)
}

// restart closes the store and opens it again.
func (k *kept) restart() {
	if err := k.store.Close(); err != nil {
		k.t.Fatal(err)
	}
	k.open()
}

// id is a fresh request id.
func (k *kept) id() string {
	k.calls++
	return fmt.Sprintf("request-%04d", k.calls)
}

const varrow = "sites/varrow"

// lot takes a lot of boosters on charge and makes n units of it available.
func (k *kept) lot(id string, n int) {
	k.t.Helper()
	var units []string
	for i := range n {
		units = append(units, fmt.Sprintf("%s-u%03d", id, i+1))
	}
	_, err := k.stock.CreateLot(context.Background(), &bowrollv1.CreateLotRequest{
		Parent: varrow, LotId: id, Lot: boosterLot(), Units: units, Place: "mag-1", Reason: "delivery 7", Actor: "k", RequestId: k.id(),
	})
	if err != nil {
		k.t.Fatal(err)
	}
	if n > 0 {
		k.move(bowrollv1.UnitEvent_UNIT_EVENT_INSPECT, units...)
		k.move(bowrollv1.UnitEvent_UNIT_EVENT_ACCEPT, units...)
	}
}

func boosterLot() *bowrollv1.StockLot {
	return &bowrollv1.StockLot{
		Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: "boosterTypes/emberlin-6", ExpireTime: timestamppb.New(testStart.AddDate(1, 0, 0)),
	}
}

func steps(event bowrollv1.UnitEvent, units ...string) (list []*bowrollv1.UnitStep) {
	for _, unit := range units {
		list = append(list, &bowrollv1.UnitStep{Unit: unit, Event: event, Reason: "as ordered"})
	}
	return list
}

func (k *kept) move(event bowrollv1.UnitEvent, units ...string) {
	k.t.Helper()
	_, err := k.stock.MoveUnits(context.Background(), &bowrollv1.MoveUnitsRequest{Parent: varrow, Steps: steps(event, units...), Actor: "k", RequestId: k.id()})
	if err != nil {
		k.t.Fatal(err)
	}
}

// wantCode fails the test where err has not this code and reason, or its text
// does not say words.
func wantCode(t testing.TB, err error, code codes.Code, reason string, words ...string) {
	t.Helper()
	if status.Code(err) != code || refusal.Reason(err) != reason {
		t.Errorf("got %v (%s), want %s %s", err, refusal.Reason(err), code, reason)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q does not say %q", err, word)
		}
	}
}

// TestWordsAgree holds the names of the contract against the words of the ledger.
func TestWordsAgree(t *testing.T) {
	for number, name := range bowrollv1.UnitState_name {
		if s := bowrollv1.UnitState(number); number > 0 && stateName(stateOf(s)) != s {
			t.Errorf("%s does not come back", name)
		}
	}
	for number, name := range bowrollv1.UnitEvent_name {
		if e := bowrollv1.UnitEvent(number); number > 0 && eventName(eventOf(e)) != e {
			t.Errorf("%s does not come back", name)
		}
	}
	for number, name := range bowrollv1.PlanState_name {
		if s := bowrollv1.PlanState(number); number > 0 && planStateName(planStateOf(s)) != s {
			t.Errorf("%s does not come back", name)
		}
	}
}

func TestALotTakesWhatItLacksFromItsType(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 2)
	lot, err := k.stock.GetLot(context.Background(), &bowrollv1.GetLotRequest{Name: varrow + "/lots/lot-01"})
	if err != nil {
		t.Fatal(err)
	}
	booster, _ := testSnapshot(t).BoosterType("boosterTypes/emberlin-6")
	if lot.GetStowageGreatestC() != booster.GetStowageGreatestC() || lot.GetReceivedCount() != 2 || lot.GetProvenance().GetCatalogRevision() == "" {
		t.Errorf("%v", lot)
	}
	_, err = k.stock.GetLot(context.Background(), &bowrollv1.GetLotRequest{Name: varrow + "/lots/lot-02"})
	wantCode(t, err, codes.NotFound, "LOT_NOT_FOUND", "lot-02")
	_, err = k.stock.GetLot(context.Background(), &bowrollv1.GetLotRequest{Name: "sites/nowhere/lots/lot-02"})
	wantCode(t, err, codes.NotFound, refusal.ReasonNotFound, "nowhere")
}

// A refusal lists every fault, each with its place, and leaves nothing behind.
func TestMoveSaysEveryFault(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 2)
	before, _ := k.stock.VerifyLog(context.Background(), &bowrollv1.VerifyLogRequest{Parent: varrow})
	_, err := k.stock.MoveUnits(context.Background(), &bowrollv1.MoveUnitsRequest{Parent: varrow, Actor: "k", RequestId: k.id(), Steps: []*bowrollv1.UnitStep{
		{Unit: "lot-01-u001", Event: bowrollv1.UnitEvent_UNIT_EVENT_DROP, Reason: "it fell"},
		{Unit: "lot-01-u001", Event: bowrollv1.UnitEvent_UNIT_EVENT_CLEAR, Reason: "looks fine"},
		{Unit: "lot-01-u002", Event: bowrollv1.UnitEvent_UNIT_EVENT_ARM, Reason: "at once"},
	}})
	wantCode(t, err, codes.InvalidArgument, "AUTHORITY_MISSING", "lot-01-u001", "1 more")
	faults := refusal.Status(err).GetViolations()
	if len(faults) != 2 || faults[0].GetField() != "steps[1].authority" || faults[1].GetField() != "steps[2].unit" || !strings.Contains(faults[1].GetHint(), "available") {
		t.Errorf("%v", faults)
	}
	after, err := k.stock.VerifyLog(context.Background(), &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || !after.GetHolds() || after.GetHash() != before.GetHash() {
		t.Errorf("something was written: %v, before %v, %v", after, before, err)
	}
}

func TestValidateOnlyWritesNothing(t *testing.T) {
	k := keeping(t)
	r := &bowrollv1.CreateLotRequest{
		Parent: varrow, LotId: "lot-01", Lot: boosterLot(), Units: []string{"u-1"}, Place: "mag-1", Reason: "d", Actor: "k", RequestId: "request-dry", ValidateOnly: true,
	}
	lot, err := k.stock.CreateLot(context.Background(), r)
	if err != nil || lot.GetReceivedCount() != 1 {
		t.Fatalf("%v %v", lot, err)
	}
	_, err = k.stock.GetLot(context.Background(), &bowrollv1.GetLotRequest{Name: varrow + "/lots/lot-01"})
	wantCode(t, err, codes.NotFound, "LOT_NOT_FOUND")
	r.ValidateOnly = false
	if _, err := k.stock.CreateLot(context.Background(), r); err != nil {
		t.Errorf("the same request id after a dry run: %v", err)
	}
}

func TestExcursionQuarantinesAndGapsAreUnknown(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 2)
	name := varrow + "/lots/lot-01"
	reading := func(hours int, c float64) *bowrollv1.Reading {
		return &bowrollv1.Reading{Time: timestamppb.New(testStart.Add(time.Duration(hours) * time.Hour)), TemperatureC: &c}
	}
	lot, err := k.stock.GetLot(context.Background(), &bowrollv1.GetLotRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	lot.ReadingGapS = proto.Float64(7200)
	if _, err := k.stock.UpdateLot(context.Background(), &bowrollv1.UpdateLotRequest{Name: name, Lot: lot, Etag: lot.GetEtag(), Reason: "rule 4", Actor: "k", RequestId: k.id()}); err != nil {
		t.Fatal(err)
	}
	_, err = k.stock.UpdateLot(context.Background(), &bowrollv1.UpdateLotRequest{Name: name, Lot: lot, Etag: lot.GetEtag(), Reason: "rule 4", Actor: "k", RequestId: k.id()})
	wantCode(t, err, codes.Aborted, "ETAG_MISMATCH", "lot-01")
	got, err := k.stock.RecordReadings(context.Background(), &bowrollv1.RecordReadingsRequest{Name: name, Actor: "logger", RequestId: k.id(), Readings: []*bowrollv1.Reading{
		reading(0, 20), reading(1, 21), reading(2, 90), reading(3, 21), reading(13, 21),
	}})
	if err != nil || got.GetAddedCount() != 5 || len(got.GetQuarantined()) != 2 {
		t.Fatalf("%v %v", got, err)
	}
	e, err := k.stock.GetExposure(context.Background(), &bowrollv1.GetExposureRequest{Name: name})
	if err != nil || e.GetWatchedS() != 3*3600 || e.GetOutsideS() != 2*3600 || e.GetUnknownS() != 10*3600 || e.GetGreatestC() != 90 {
		t.Errorf("%v %v", e, err)
	}
	unit, err := k.stock.GetUnit(context.Background(), &bowrollv1.GetUnitRequest{Name: varrow + "/units/lot-01-u001"})
	if err != nil || unit.GetState() != bowrollv1.UnitState_UNIT_STATE_QUARANTINED || unit.GetCause() != "overexpose" {
		t.Errorf("%v %v", unit, err)
	}
	page, err := k.stock.ListReadings(context.Background(), &bowrollv1.ListReadingsRequest{Parent: name, PageSize: 3})
	if err != nil || len(page.GetReadings()) != 3 || page.GetComplete() {
		t.Errorf("%v %v", page, err)
	}
	rest, err := k.stock.ListReadings(context.Background(), &bowrollv1.ListReadingsRequest{Parent: name, PageSize: 3, AfterTime: page.GetReadings()[2].GetTime()})
	if err != nil || len(rest.GetReadings()) != 2 || !rest.GetComplete() {
		t.Errorf("%v %v", rest, err)
	}
}

func TestPagesOfUnits(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 7)
	k.lot("lot-02", 4)
	var got []string
	r := &bowrollv1.ListUnitsRequest{Parent: varrow, PageSize: 3}
	for {
		page, err := k.stock.ListUnits(context.Background(), r)
		if err != nil {
			t.Fatal(err)
		}
		for _, unit := range page.GetUnits() {
			got = append(got, unit.GetName())
		}
		if r.PageToken = page.GetNextPageToken(); r.PageToken == "" {
			break
		}
		other := proto.CloneOf(r)
		other.Lot = "lot-02"
		_, err = k.stock.ListUnits(context.Background(), other)
		wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "page_token")
	}
	if len(got) != 11 {
		t.Errorf("%v", got)
	}
	sum, err := k.stock.SummarizeStock(context.Background(), &bowrollv1.SummarizeStockRequest{Parent: varrow})
	if err != nil || sum.GetUnitCount() != 11 || sum.GetAvailableCount() != 11 || len(sum.GetCounts()) != 2 {
		t.Errorf("%v %v", sum, err)
	}
	picks, err := k.stock.PickUnits(context.Background(), &bowrollv1.PickUnitsRequest{
		Parent: varrow, BoosterType: "boosterTypes/emberlin-6", UnitCount: proto.Int32(8), Pairs: true, UseTime: timestamppb.New(testStart),
	})
	if err != nil || len(picks.GetPicks()) != 8 || picks.GetPicks()[6].GetUnit().GetLot() != varrow+"/lots/lot-02" {
		t.Errorf("pairs are of one lot: %v %v", picks, err)
	}
}

func TestCSVInAndOut(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 1)
	file := "unit,event,reason,lot,place,at_launch_point\n" +
		"n-1,receive,note 9,lot-01,mag-2,\nn-2,receive,note 9,lot-01,mag-2,\n" +
		"n-1,inspect,\"seals, tags\",,,\nn-1,accept,whole,,,no\n"
	r := &bowrollv1.ImportMovementsRequest{Parent: varrow, Csv: file, Actor: "k", RequestId: "request-csv"}
	got, err := k.stock.ImportMovements(context.Background(), r)
	if err != nil || got.GetStepCount() != 4 || got.GetReceivedCount() != 2 {
		t.Fatalf("%v %v", got, err)
	}
	out, err := k.stock.ExportUnits(context.Background(), &bowrollv1.ExportUnitsRequest{Parent: varrow})
	if err != nil || out.GetUnitCount() != 3 || !strings.Contains(out.GetCsv(), "\nn-1,lot-01,available,mag-2,") {
		t.Errorf("%v %v", out, err)
	}
	bad := "unit,event,reason,lots\nN 1,explode,,\nn-1,inspect\n"
	_, err = k.stock.ImportMovements(context.Background(), &bowrollv1.ImportMovementsRequest{Parent: varrow, Csv: bad, Actor: "k", RequestId: k.id()})
	wantCode(t, err, codes.InvalidArgument, "CSV_COLUMN", "lots")
	bad = "unit,event,reason\nN 1,explode,\nn-1,inspect\nn-9,inspect,x\n"
	_, err = k.stock.ImportMovements(context.Background(), &bowrollv1.ImportMovementsRequest{Parent: varrow, Csv: bad, Actor: "k", RequestId: k.id()})
	wantCode(t, err, codes.InvalidArgument, "CSV_UNIT", "3 more")
	bad = "unit,event,reason\nn-2,inspect,x\nn-1,arm,x\n"
	_, err = k.stock.ImportMovements(context.Background(), &bowrollv1.ImportMovementsRequest{Parent: varrow, Csv: bad, Actor: "k", RequestId: k.id()})
	wantCode(t, err, codes.FailedPrecondition, "STATE_FORBIDS", "line 3")
	unit, err := k.stock.GetUnit(context.Background(), &bowrollv1.GetUnitRequest{Name: varrow + "/units/n-2"})
	if err != nil || unit.GetState() != bowrollv1.UnitState_UNIT_STATE_RECEIVED {
		t.Errorf("half a file was taken: %v %v", unit, err)
	}
}

// concurrently calls 16 times at once and returns the answers.
func concurrently(call func() (proto.Message, error)) (answers []proto.Message, errs []error) {
	var wait sync.WaitGroup
	answers, errs = make([]proto.Message, 16), make([]error, 16)
	for i := range answers {
		wait.Go(func() { answers[i], errs[i] = call() })
	}
	wait.Wait()
	return answers, errs
}
