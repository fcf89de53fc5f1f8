package refusal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/genproto/googleapis/rpc/code"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Reasons with which the service itself, rather than one of its parts, says no.
const (
	ReasonBusy       = "BUSY"
	ReasonDeadline   = "DEADLINE_PASSED"
	ReasonCancelled  = "CANCELLED"
	ReasonLate       = "LATE"
	ReasonTooLarge   = "TOO_LARGE"
	ReasonUnreadable = "UNREADABLE"
	ReasonRouting    = "ROUTING"
	ReasonInternal   = "INTERNAL"
	ReasonStatus     = "STATUS"
)

// Busy says that the service has as much in hand as it takes on, and when to
// ask again. Nothing was done.
func Busy(what string, retry time.Duration) error {
	s, err := status.New(codes.ResourceExhausted,
		fmt.Sprintf("busy: as many calls of the kind %q are in hand as are taken on; ask again in %v", what, retry)).WithDetails(
		&errdetails.ErrorInfo{Reason: ReasonBusy, Domain: Domain, Metadata: map[string]string{"kind": what}},
		&errdetails.RetryInfo{RetryDelay: durationpb.New(retry)})
	if err != nil {
		return status.Error(codes.ResourceExhausted, "busy")
	}
	return s.Err()
}

// TooLarge refuses a message for its size and says the way round it.
func TooLarge(size, limit int, way string) error {
	fault := &bowrollv1.Violation{
		Rule: "size", Allowed: fmt.Sprintf("at most %d bytes", limit), Hint: way,
	}
	if size > 0 {
		fault.Value = fmt.Sprintf("%d bytes", size)
	}
	return with(codes.InvalidArgument, ReasonTooLarge, "the request"+Line(fault), nil, []*bowrollv1.Violation{fault})
}

// Internal hides an error that says nothing to the caller behind the id under
// which the log has it.
func Internal(requestID string) error {
	return with(codes.Internal, ReasonInternal,
		fmt.Sprintf("an error inside the service; its log has it under request %s", requestID),
		map[string]string{"request_id": requestID}, nil)
}

// Deadline says that the time for a call ran out.
func Deadline() error {
	return with(codes.DeadlineExceeded, ReasonDeadline,
		"the time for this call ran out; ask for less at once, or use the stream", nil, nil)
}

// Cancelled says that the caller gave up.
func Cancelled() error {
	return with(codes.Canceled, ReasonCancelled, "the caller cancelled", nil, nil)
}

// Settle returns err in the one form that leaves the service, and whether it
// had to be hidden. Refusals made here pass as they are; a bare status gets an
// ErrorInfo; an ended context says so; anything else is hidden.
func Settle(err error, requestID string) (settled error, hidden bool) {
	if err == nil {
		return nil, false
	}
	if s, ok := status.FromError(err); ok {
		switch s.Code() {
		case codes.Unknown, codes.Internal, codes.DataLoss:
			return Internal(requestID), true
		}
		for _, d := range s.Details() {
			if _, ok := d.(*errdetails.ErrorInfo); ok {
				return s.Err(), false
			}
		}
		switch s.Code() {
		case codes.DeadlineExceeded:
			return Deadline(), false
		case codes.Canceled:
			return Cancelled(), false
		}
		return with(s.Code(), ReasonStatus, s.Message(), nil, nil), false
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return Deadline(), false
	case errors.Is(err, context.Canceled):
		return Cancelled(), false
	}
	return Internal(requestID), true
}

// Status is err as the body that JSON callers get, which is also the status of
// an item of a batch.
func Status(err error) *bowrollv1.ItemStatus {
	s := status.Convert(err)
	out := &bowrollv1.ItemStatus{Code: CodeName(s.Code()), Message: s.Message()}
	for _, d := range s.Details() {
		if v, ok := d.(*bowrollv1.Violations); ok {
			out.Violations = v.GetViolations()
		}
	}
	return out
}

// Retry returns the delay that err asks callers to wait, if any.
func Retry(err error) (time.Duration, bool) {
	for _, d := range status.Convert(err).Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			return r.GetRetryDelay().AsDuration(), true
		}
	}
	return 0, false
}

// CodeName is the canonical name of a status code, e.g. "INVALID_ARGUMENT".
func CodeName(c codes.Code) string { return code.Code(c).String() }

// Unreadable refuses a request that is not in the form that its transport asks
// for, with what is wrong.
func Unreadable(detail string) error {
	fault := &bowrollv1.Violation{Rule: "json", Hint: detail}
	return with(codes.InvalidArgument, ReasonUnreadable, detail, nil, []*bowrollv1.Violation{fault})
}

// Late refuses a request of which something did not come in time; way is what to
// do instead.
func Late(what, way string) error {
	fault := &bowrollv1.Violation{Rule: "time", Hint: way}
	return with(codes.DeadlineExceeded, ReasonLate, what+": "+way, nil, []*bowrollv1.Violation{fault})
}

// Routing refuses a request for the way it was sent, before any service sees it.
func Routing(c codes.Code, message string, fault *bowrollv1.Violation) error {
	return with(c, ReasonRouting, message, nil, []*bowrollv1.Violation{fault})
}

// Reason is the stable reason of err, or "".
func Reason(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}
