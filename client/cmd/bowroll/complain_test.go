package main

import (
	"context"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// What a cell that came second reads is what changed, and not a name of a rule.
func TestAFaultOfTheWholeRequestIsItsHint(t *testing.T) {
	var b strings.Builder
	(&problem{undone: "nothing was changed", Violations: []violation{{
		Rule: "stock_short", text: "is not accepted (stock_short)", Hint: "lot lot-07: the plan needs 8 and 0 are usable (8 reserved)",
	}}}).text(&b)
	if want := "lot lot-07: the plan needs 8 and 0 are usable (8 reserved)\nbowroll: 1 fault; nothing was changed\n"; b.String() != want {
		t.Errorf("got\n%swant\n%s", b.String(), want)
	}
}

// What was done before a refusal is said, and never that nothing was.
func TestARefusalAfterSomeWasDoneSaysWhat(t *testing.T) {
	const done = "issued birch-1 and then stopped at birch-2"
	faulty := status.New(codes.FailedPrecondition, "the card outlives a waiver")
	detailed, err := faulty.WithDetails(&bowrollv1.Violations{Violations: []*bowrollv1.Violation{{Rule: "card_outlives_waiver", Hint: "the card outlives a waiver"}}})
	if err != nil {
		t.Fatal(err)
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	for _, test := range []struct {
		ctx    context.Context
		cause  error
		format string
	}{
		{context.Background(), faulty.Err(), "table"}, {context.Background(), detailed.Err(), "table"},
		{context.Background(), detailed.Err(), "json"}, {cancelled, context.Canceled, "table"},
	} {
		var b strings.Builder
		p := &program{ctx: test.ctx, stderr: &b, changing: true}
		p.line.Format = test.format
		p.finish(partly{test.cause, done})
		if got := b.String(); strings.Count(got, done) != 1 || strings.Contains(got, "nothing was") {
			t.Errorf("%v, %s: %s", test.cause, test.format, got)
		}
	}
}

// A call that the service ended at the deadline that it was given is an answer too
// late, whatever the transport says of it.
func TestACallThatNobodyCancelledIsLate(t *testing.T) {
	for _, cause := range []error{
		status.Error(codes.Canceled, "stream terminated by RST_STREAM with error code: CANCEL"),
		status.Error(codes.DeadlineExceeded, "stream terminated by RST_STREAM with error code: CANCEL"),
		status.FromContextError(context.DeadlineExceeded).Err(),
	} {
		for format, want := range map[string]string{"table": "bowroll: no answer within 60ms\n", "json": `"code": "DEADLINE_EXCEEDED"`} {
			var b strings.Builder
			p := &program{ctx: context.Background(), stderr: &b}
			p.line.Format, p.line.Timeout = format, 60*time.Millisecond
			if code := p.finish(cause); code != exitService || !strings.Contains(b.String(), want) {
				t.Errorf("%v, %s: exit %d: %s", cause, format, code, b.String())
			}
		}
	}
}
