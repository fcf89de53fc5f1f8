package board_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// observe records runs a little longer than predicted, and proposes what follows
// from them.
func (w *world) observe(ctx context.Context) {
	t := w.t
	t.Helper()
	to := bowrollv1.NewObservationsClient(w.conn)
	for i := range 12 {
		c := &bowrollv1.TakeoffCase{AircraftType: "aircraftTypes/corvane", Flap: "takeoff", GrossMassKg: proto.Float64(5600 + 60*float64(i)),
			Air:  &bowrollv1.Air{PressureAltitudeM: proto.Float64(0), TemperatureC: proto.Float64(15)},
			Deck: "sites/varrow/decks/main", Spot: "s6", HeadwindMps: proto.Float64(12 + 0.3*float64(i))}
		off, err := bowrollv1.NewTakeoffsClient(w.conn).Compute(ctx, &bowrollv1.TakeoffsComputeRequest{Case: c})
		if err != nil {
			t.Fatal(err)
		}
		_, err = to.RecordRun(ctx, &bowrollv1.RecordRunRequest{Parent: "sites/varrow", ObservedRunId: fmt.Sprintf("run-%02d", i), Actor: "quill", RequestId: fmt.Sprintf("record-run-%02d", i),
			ObservedRun: &bowrollv1.ObservedRun{Conditions: c, Tail: fmt.Sprintf("c-%02d", i%3), LaunchTime: timestamppb.New(dawn.Add(-time.Hour * time.Duration(24*(12-i)))), Observer: "deck camera",
				LiftoffDistanceM: proto.Float64(off.GetRoll().GetDistanceM()*1.04 + float64(i%3) - 1), LiftoffTimeS: proto.Float64(off.GetRoll().GetTimeS() * 1.03)}})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{"corvane-spring", "corvane-early"} {
		_, err := to.ProposeCorrection(ctx, &bowrollv1.ProposeCorrectionRequest{Parent: "sites/varrow", CorrectionId: id, AircraftType: "aircraftTypes/corvane", Reason: "runs longer since spring", Actor: "quill", RequestId: "propose-" + id})
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestObservedRunsAndWhoDecides(t *testing.T) {
	w := begin(t, true)
	w.observe(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+w.token("quill", "planner@varrow")))
	enter := func(name, grant string) *visitor {
		v := w.visitor()
		if code, text, _ := v.post("/sign-in", url.Values{"token": {w.token(name, grant)}, "next": {"/"}}); code != http.StatusOK {
			t.Fatal(code, inMain(text))
		}
		return v
	}
	reader := enter("analyst-7", "reader@varrow")
	code, text, header := reader.get("/observed/varrow")
	if code != http.StatusOK {
		t.Fatal(code, inMain(text))
	}
	checkPage(t, "observed runs", text, header)
	for _, word := range []string{"run-11", "corvane-spring", "proposed", "rolling friction", "runs longer since spring", "did not see", "Drift"} {
		if !strings.Contains(text, word) {
			t.Errorf("the page does not say %q", word)
		}
	}
	if strings.Contains(text, "Accept corvane-spring") {
		t.Error("a reader is offered to decide")
	}
	decision := func(what, id string) url.Values {
		return url.Values{"decision": {what}, "etag": {"e1"}, "reason": {"seen on two decks"}, "request_id": {what + "-" + id}}
	}
	if code, text, _ = reader.post("/observed/varrow/corvane-spring", decision("accept", "corvane-spring")); code != http.StatusForbidden {
		t.Errorf("a reader decides: %d %s", code, inMain(text))
	}
	custodian := enter("sedge", "custodian@*")
	_, text, _ = custodian.get("/observed/varrow")
	etag := between(text, `name="etag" value="`, `"`)
	if !strings.Contains(text, "Accept corvane-spring") || etag == "" {
		t.Fatal("a custodian is offered nothing to decide")
	}
	for _, d := range [][2]string{{"reject", "corvane-early"}, {"accept", "corvane-spring"}} {
		_, page, _ := custodian.get("/observed/varrow")
		form := decision(d[0], d[1])
		form.Set("etag", between(page[strings.Index(page, `action="/observed/varrow/`+d[1]):], `name="etag" value="`, `"`))
		if code, text, _ = custodian.post("/observed/varrow/"+d[1], form); code != http.StatusOK || !strings.Contains(text, d[0]+"ed</b> by proven: sedge") {
			t.Errorf("%s: %d %s", d[0], code, inMain(text))
		}
	}
}

// between is the first text after one mark and before another.
func between(text, after, before string) string {
	_, rest, _ := strings.Cut(text, after)
	found, _, _ := strings.Cut(rest, before)
	return found
}
