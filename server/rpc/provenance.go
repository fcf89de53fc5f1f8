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
	out := new(bowrollv1.Provenance)
	provenanceInto(out, snapshot, request...)
	return out
}

func provenanceInto(out *bowrollv1.Provenance, snapshot source, request ...proto.Message) {
	out.ModelVersion = perf.ModelVersion
	out.CatalogRevision = snapshot.Revision()
	out.RequestDigest = snapshot.Digest(request...)
}
