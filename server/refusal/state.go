package refusal

import (
	"google.golang.org/grpc/codes"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Because refuses a request for the state of things: with a code, a stable
// reason in upper snake case, a sentence, and what the sentence speaks of.
func Because(code codes.Code, reason, message string, metadata map[string]string, faults []*bowrollv1.Violation) error {
	return with(code, reason, message, metadata, faults)
}
