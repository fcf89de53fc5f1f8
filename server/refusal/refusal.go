// Package refusal is the one form in which the service says no: a status code,
// a sentence, an ErrorInfo with a stable reason, and every fault of the request
// as bowroll.v1.Violations. Every service and every entry builds its errors
// here, so that gRPC and JSON callers see the same.
package refusal

import (
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Domain is the domain of every ErrorInfo.
const Domain = "bowroll"

// Reasons of an ErrorInfo. They are part of the contract.
const (
	ReasonInvalid  = "INVALID_REQUEST"
	ReasonNotFound = "NOT_FOUND"
)

// Invalid refuses a request with all its faults. No faults is no error.
func Invalid(faults []*bowrollv1.Violation) error {
	if len(faults) == 0 {
		return nil
	}
	return with(codes.InvalidArgument, ReasonInvalid, Sentence(faults), nil, faults)
}

// NotFound refuses a name that stands for nothing and lists what could have been
// meant, where that is known.
func NotFound(field, name, allowed string) error {
	fault := &bowrollv1.Violation{Field: field, Value: name, Rule: "known", Allowed: allowed}
	return with(codes.NotFound, ReasonNotFound, fmt.Sprintf("%q is not in the catalog", name),
		map[string]string{"name": name}, []*bowrollv1.Violation{fault})
}

// Item is the status of one item of a batch that has these faults; none is OK.
func Item(faults []*bowrollv1.Violation) *bowrollv1.ItemStatus {
	if len(faults) == 0 {
		return &bowrollv1.ItemStatus{Code: "OK"}
	}
	return &bowrollv1.ItemStatus{Code: "INVALID_ARGUMENT", Message: Sentence(faults), Violations: faults}
}

// Sentence says what is wrong in one line: the first fault and how many more.
func Sentence(faults []*bowrollv1.Violation) string {
	if len(faults) == 0 {
		return ""
	}
	first := Line(faults[0])
	if len(faults) == 1 {
		return first
	}
	return fmt.Sprintf("%s; and %d more", first, len(faults)-1)
}

// Line says one fault in one line: the field, its value, what is allowed and
// what to do.
func Line(v *bowrollv1.Violation) string {
	var b strings.Builder
	b.WriteString(v.GetField())
	switch {
	case v.GetRule() == "required":
		b.WriteString(" is not given")
	case v.GetValue() != "":
		b.WriteString(" is " + v.GetValue())
	}
	if v.GetAllowed() != "" && v.GetAllowed() != "given" {
		b.WriteString(": must be " + v.GetAllowed())
	}
	if v.GetHint() != "" {
		b.WriteString(" (" + v.GetHint() + ")")
	}
	return b.String()
}

func with(code codes.Code, reason, message string, metadata map[string]string, faults []*bowrollv1.Violation) error {
	details := []protoadapt.MessageV1{
		&errdetails.ErrorInfo{Reason: reason, Domain: Domain, Metadata: metadata},
	}
	if len(faults) > 0 {
		details = append(details, &bowrollv1.Violations{Violations: faults})
	}
	s, err := status.New(code, message).WithDetails(details...)
	if err != nil { // only for code OK, which no caller passes
		return status.Error(code, message)
	}
	return s.Err()
}
