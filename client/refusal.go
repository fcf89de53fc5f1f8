package client

import (
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Refusal is an error of the service, taken apart.
type Refusal struct {
	Code       codes.Code
	Message    string // one sentence for people
	Reason     string // stable name of the reason, e.g. INVALID_REQUEST; empty where none was sent
	Violations []*bowrollv1.Violation
}

// Error gives the sentence.
func (r *Refusal) Error() string { return r.Message }

// AsRefusal takes an error of a call apart. ok is false where err did not come
// from a call.
func AsRefusal(err error) (r *Refusal, ok bool) {
	if errors.As(err, &r) {
		return r, true
	}
	// status.FromError would put the words of every wrapper into the message.
	var carrier interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &carrier) {
		return nil, false
	}
	s := carrier.GRPCStatus()
	r = &Refusal{Code: s.Code(), Message: s.Message()}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			r.Reason = d.GetReason()
		case *bowrollv1.Violations:
			r.Violations = append(r.Violations, d.GetViolations()...)
		}
	}
	return r, true
}

// BadInput reports whether the service was reached and refused what was asked,
// so that asking again as it is will be refused again.
func (r *Refusal) BadInput() bool {
	switch r.Code {
	case codes.InvalidArgument, codes.NotFound, codes.FailedPrecondition, codes.OutOfRange, codes.AlreadyExists:
		return true
	}
	return false
}
