package rpc

import (
	"google.golang.org/protobuf/proto"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// source is the state of the catalog that an answer was worked out from.
type source interface {
	Revision() string
	Digest(messages ...proto.Message) string
}

// provenance says where an answer comes from; request is the request as
// resolved.
func provenance(snapshot source, request ...proto.Message) *bowrollv1.Provenance {
	return &bowrollv1.Provenance{
		ModelVersion:    perf.ModelVersion,
		CatalogRevision: snapshot.Revision(),
		RequestDigest:   snapshot.Digest(request...),
	}
}
