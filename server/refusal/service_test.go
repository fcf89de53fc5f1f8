package refusal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func TestSettle(t *testing.T) {
	invalid := Invalid([]*bowrollv1.Violation{{Field: "a", Rule: "required"}})
	for _, c := range []struct {
		name   string
		err    error
		code   codes.Code
		hidden bool
	}{
		{"nothing", nil, codes.OK, false},
		{"a refusal", invalid, codes.InvalidArgument, false},
		{"a bare status", status.Error(codes.NotFound, "no such lot"), codes.NotFound, false},
		{"a deadline", fmt.Errorf("planning: %w", context.DeadlineExceeded), codes.DeadlineExceeded, false},
		{"a cancellation", context.Canceled, codes.Canceled, false},
		{"an error of another kind", errors.New("password=swordfish"), codes.Internal, true},
		{"an internal status", status.Error(codes.Internal, "password=swordfish"), codes.Internal, true},
	} {
		settled, hidden := Settle(c.err, "r-1")
		if status.Code(settled) != c.code || hidden != c.hidden {
			t.Errorf("%s: %v, hidden %v", c.name, settled, hidden)
		}
		if settled != nil && strings.Contains(settled.Error(), "swordfish") {
			t.Errorf("%s: leaks: %v", c.name, settled)
		}
	}
	if again, _ := Settle(invalid, ""); len(Status(again).GetViolations()) != 1 {
		t.Error("a refusal lost its violations")
	}
}

func TestBusyAsksForAWait(t *testing.T) {
	err := Busy("solve", 250*time.Millisecond)
	if wait, ok := Retry(err); !ok || wait != 250*time.Millisecond {
		t.Errorf("wait is %v, %v", wait, ok)
	}
	if got := Status(err).GetCode(); got != "RESOURCE_EXHAUSTED" {
		t.Errorf("code is %q", got)
	}
}
