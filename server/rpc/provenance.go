package rpc

import (
	"google.golang.org/protobuf/proto"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/catalog"
)

// provenance says where an answer comes from; request is the request as
// resolved.
func provenance(snapshot *catalog.Snapshot, request ...proto.Message) *bowrollv1.Provenance {
	return &bowrollv1.Provenance{
		ModelVersion:    perf.ModelVersion,
		CatalogRevision: snapshot.Revision(),
		RequestDigest:   canonical.Digest(request...),
	}
}
