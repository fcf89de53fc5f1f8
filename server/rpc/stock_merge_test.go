package rpc

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
	"bowroll/server/refusal"
)

// trust makes a key and lets the service take logs of varrow under it.
func (k *kept) trust(fill byte) ed25519.PrivateKey {
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{fill}, ed25519.SeedSize))
	k.stock.WithKeys(SiteKeys{"varrow": {key.Public().(ed25519.PublicKey)}})
	return key
}

// sign signs a part as its site does.
func sign(r *bowrollv1.MergeMovementsRequest, key ed25519.PrivateKey) {
	first, last := r.GetMovements()[0], r.GetMovements()[len(r.GetMovements())-1]
	r.Signature = ed25519.Sign(key, logpart.Text("varrow", first.GetSequence(), first.GetPreviousHash(), last.GetSequence(), last.GetHash()))
}

// The log goes from one store to another by the contract alone, in pages.
func TestMergeByPages(t *testing.T) {
	ctx := context.Background()
	ship, shore := keeping(t), keeping(t)
	key := shore.trust(1)
	ship.lot("lot-01", 5)
	list := &bowrollv1.ListMovementsRequest{Parent: varrow, PageSize: 4}
	var last *bowrollv1.MergeMovementsResponse
	for {
		page, err := ship.stock.ListMovements(ctx, list)
		if err != nil {
			t.Fatal(err)
		}
		merge := &bowrollv1.MergeMovementsRequest{Parent: varrow, Movements: page.GetMovements(), Actor: "shore", RequestId: shore.id()}
		sign(merge, key)
		if last, err = shore.stock.MergeMovements(ctx, merge); err != nil || int(last.GetAddedCount()) != len(page.GetMovements()) {
			t.Fatalf("%v %v", last, err)
		}
		again, err := shore.stock.MergeMovements(ctx, merge)
		if err != nil || !proto.Equal(again, last) {
			t.Errorf("%v %v", again, err)
		}
		other := proto.CloneOf(merge)
		other.Actor = "somebody else"
		_, err = shore.stock.MergeMovements(ctx, other)
		wantCode(t, err, codes.FailedPrecondition, "REQUEST_ID_REUSED")
		if page.GetComplete() {
			break
		}
		list.AfterSequence = last.GetLastSequence()
	}
	there, err := ship.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil {
		t.Fatal(err)
	}
	here, err := shore.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || !here.GetHolds() || here.GetHash() != there.GetHash() || last.GetHash() != there.GetHash() {
		t.Errorf("%v\n%v %v", there, here, err)
	}
	_, err = shore.stock.MoveUnits(ctx, &bowrollv1.MoveUnitsRequest{Parent: varrow, Actor: "k", RequestId: shore.id(), Steps: steps(bowrollv1.UnitEvent_UNIT_EVENT_DROP, "lot-01-u001")})
	wantCode(t, err, codes.FailedPrecondition, "SITE_ELSEWHERE")
	_, err = shore.stock.MergeMovements(ctx, &bowrollv1.MergeMovementsRequest{Parent: varrow, Actor: "k", RequestId: shore.id(), Movements: []*bowrollv1.Movement{{Sequence: 99, Hash: "zz"}}})
	wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "movements[0].previous_hash")
}

// follow carries everything that shore lacks, or all where from is 0, in pages,
// and returns how many readings and plans were new.
func follow(t *testing.T, ship, shore *kept, key ed25519.PrivateKey, from int32, size int32, content bool) (added int32) {
	t.Helper()
	for complete := false; !complete; {
		page, err := ship.stock.ListMovements(context.Background(), &bowrollv1.ListMovementsRequest{Parent: varrow, AfterSequence: from, PageSize: size, WithContent: content})
		if err != nil {
			t.Fatal(err)
		}
		if complete = page.GetComplete(); len(page.GetMovements()) == 0 {
			break
		}
		merge := &bowrollv1.MergeMovementsRequest{Parent: varrow, Movements: page.GetMovements(), Actor: "shore", RequestId: shore.id()}
		sign(merge, key)
		answer, err := shore.stock.MergeMovements(context.Background(), merge)
		if err != nil {
			t.Fatal(err)
		}
		added += answer.GetContentCount()
		from = page.GetMovements()[len(page.GetMovements())-1].GetSequence()
	}
	return added
}

// The shore sees all of the ship's record: readings and what they add up to, the
// lots that are suspended, plans with their cards, launches and outcomes. It gets
// there in pages, in pages that come twice, and where content comes after the log.
func TestACopyIsWhole(t *testing.T) {
	ctx := context.Background()
	ship := keeping(t)
	ship.lot("lot-01", 5)
	ship.lot("lot-02", 5)
	read := &bowrollv1.RecordReadingsRequest{Name: varrow + "/lots/lot-01", Actor: "k", RequestId: ship.id()}
	for i := range 6 {
		read.Readings = append(read.Readings, &bowrollv1.Reading{Time: timestamppb.New(testStart.Add(-time.Duration(i) * time.Hour)), TemperatureC: proto.Float64(20 + float64(i)), RelativeHumidity: proto.Float64(0.5), Source: "logger 3"})
	}
	if _, err := ship.stock.RecordReadings(ctx, read); err != nil {
		t.Fatal(err)
	}
	read.RequestId = ship.id()
	read.Readings = append(read.Readings[2:], &bowrollv1.Reading{Time: timestamppb.New(testStart.Add(time.Minute)), TemperatureC: proto.Float64(21)})
	if _, err := ship.stock.RecordReadings(ctx, read); err != nil {
		t.Fatal(err)
	}
	answer := withCautions(t)
	saved := ship.saved(t, "noon", answer)
	confirmed, err := ship.plans.ConfirmPlan(ctx, &bowrollv1.ConfirmPlanRequest{Name: saved.GetName(), Etag: saved.GetEtag(), HoldUntilTime: timestamppb.New(testStart.Add(time.Hour)), Actor: "p", RequestId: ship.id()})
	if err != nil {
		t.Fatal(err)
	}
	early := keeping(t)
	key := early.trust(1)
	if added := follow(t, ship, early, key, 0, 7, true); added != 8 { // 7 readings and a plan
		t.Errorf("%d readings and plans", added)
	}
	middle, err := ship.stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: varrow, PageSize: 1000})
	if err != nil {
		t.Fatal(err)
	}
	ship.waived(t, confirmed.GetSorties()[0].GetId(), "tailwind", testStart.Add(time.Hour))
	ship.waived(t, confirmed.GetSorties()[1].GetId(), "timeline-late", testStart.Add(time.Hour))
	for _, sortie := range confirmed.GetSorties() {
		if _, err := ship.plans.IssueCard(ctx, &bowrollv1.IssueCardRequest{Name: saved.GetName(), Sortie: sortie.GetId(), UntilTime: timestamppb.New(testStart.Add(time.Hour)), Actor: "d", RequestId: ship.id()}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := ship.plans.RecheckPlan(ctx, &bowrollv1.RecheckPlanRequest{Name: saved.GetName(), Inputs: []*bowrollv1.LiveInputs{{Sortie: confirmed.GetSorties()[0].GetId()}}, VoidCards: true, Actor: "d", RequestId: ship.id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := ship.plans.RevokeWaiver(ctx, &bowrollv1.RevokeWaiverRequest{Name: saved.GetName(), Sortie: confirmed.GetSorties()[1].GetId(), Caution: "timeline-late", Reason: "on time after all", Actor: "d", RequestId: ship.id()}); err != nil {
		t.Fatal(err)
	}
	last := confirmed.GetSorties()[len(confirmed.GetSorties())-1]
	if _, err := ship.plans.ScrubSortie(ctx, &bowrollv1.ScrubSortieRequest{Name: saved.GetName(), Sortie: last.GetId(), Reason: "engine", Actor: "d", RequestId: ship.id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := ship.stock.SuspendLot(ctx, &bowrollv1.SuspendLotRequest{Name: varrow + "/lots/lot-02", Reason: "a letter", Actor: "k", RequestId: ship.id()}); err != nil {
		t.Fatal(err)
	}
	ship.saved(t, "dusk", answer)
	if _, err := ship.plans.CancelPlan(ctx, &bowrollv1.CancelPlanRequest{Name: varrow + "/plans/dusk", Reason: "fog", Actor: "p", RequestId: ship.id()}); err != nil {
		t.Fatal(err)
	}
	late := keeping(t)
	late.trust(1)
	if added := follow(t, ship, late, key, 0, 40, false); added != 0 {
		t.Errorf("%d readings and plans without content", added)
	}
	if _, err := late.plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: saved.GetName()}); err == nil {
		t.Error("a plan without its content is shown")
	}
	follow(t, ship, late, key, 0, 9, true)
	from := middle.GetMovements()[len(middle.GetMovements())-4].GetSequence() // a few come again
	follow(t, ship, early, key, from, 3, true)
	if added := follow(t, ship, early, key, 0, 5, true); added != 0 {
		t.Errorf("%d readings and plans were new when all came again", added)
	}
	all := func(k *kept) (texts []string) {
		add := func(m proto.Message, err error) {
			if err != nil {
				t.Fatal(err)
			}
			fields := m.ProtoReflect().Descriptor().Fields()
			if provenance := fields.ByName("provenance"); provenance != nil {
				m.ProtoReflect().Clear(provenance)
			}
			texts = append(texts, prototext.Format(m))
		}
		add(k.plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: saved.GetName()}))
		add(k.plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: varrow + "/plans/dusk"}))
		add(k.stock.ListReadings(ctx, &bowrollv1.ListReadingsRequest{Parent: varrow + "/lots/lot-01"}))
		add(k.stock.GetExposure(ctx, &bowrollv1.GetExposureRequest{Name: varrow + "/lots/lot-01"}))
		add(k.stock.ListLots(ctx, &bowrollv1.ListLotsRequest{Parent: varrow}))
		add(k.stock.ListUnits(ctx, &bowrollv1.ListUnitsRequest{Parent: varrow}))
		add(k.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow}))
		return texts
	}
	want := all(ship)
	for name, shore := range map[string]*kept{"early": early, "late": late} {
		for i, got := range all(shore) {
			if got != want[i] {
				t.Errorf("%s: the copy has\n%s\nand the ship\n%s", name, got, want[i])
			}
		}
	}
}

// A part that its site did not sign is refused, whoever sends it, and so is
// content that its entry holds no digest of.
func TestOnlyTheSiteSigns(t *testing.T) {
	ctx := context.Background()
	ship, shore := keeping(t), keeping(t)
	ship.lot("lot-01", 2)
	ship.saved(t, "noon", plan(t, testCycle(), 2))
	page, err := ship.stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: varrow, PageSize: 1000, WithContent: true})
	if err != nil {
		t.Fatal(err)
	}
	merge := &bowrollv1.MergeMovementsRequest{Parent: varrow, Movements: page.GetMovements(), Actor: "shore", RequestId: shore.id()}
	_, err = shore.stock.MergeMovements(ctx, merge)
	wantCode(t, err, codes.InvalidArgument, "SIGNATURE_MISSING")
	stranger := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, ed25519.SeedSize))
	sign(merge, stranger)
	_, err = shore.stock.MergeMovements(ctx, merge)
	wantCode(t, err, codes.FailedPrecondition, "SITE_KEY_UNKNOWN")
	key := shore.trust(1)
	_, err = shore.stock.MergeMovements(ctx, merge)
	wantCode(t, err, codes.FailedPrecondition, "SIGNATURE_WRONG")
	sign(merge, key)
	cut := proto.CloneOf(merge)
	cut.Movements = cut.Movements[:len(cut.Movements)-1]
	_, err = shore.stock.MergeMovements(ctx, cut)
	wantCode(t, err, codes.FailedPrecondition, "SIGNATURE_WRONG")
	bent := proto.CloneOf(merge)
	bent.Movements[1].Reason = "another"
	_, err = shore.stock.MergeMovements(ctx, bent)
	wantCode(t, err, codes.InvalidArgument, "LOG_DAMAGED")
	other := proto.CloneOf(merge)
	content := other.Movements[len(other.Movements)-1].GetContent()
	other.Movements[0].Content = content
	_, err = shore.stock.MergeMovements(ctx, other)
	wantCode(t, err, codes.InvalidArgument, "CONTENT_DIFFERS")
	other = proto.CloneOf(merge)
	other.Movements[len(other.Movements)-1].Content.Answer = nil
	if _, err = shore.stock.MergeMovements(ctx, other); err == nil {
		t.Error("a plan with another answer was taken")
	}
	if _, err := shore.stock.MergeMovements(ctx, merge); err != nil {
		t.Error(err)
	}
}
