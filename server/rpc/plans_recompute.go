package rpc

import (
	"context"
	"fmt"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/store"
)

// recomputer computes plans of the past.
type recomputer struct {
	kept      *KeptCatalog
	validator protovalidate.Validator
	workers   int
}

// WithRevisions lets plans be computed anew with the revisions of a kept catalog.
func (p *Plans) WithRevisions(kept *KeptCatalog, validator protovalidate.Validator, workers int) *Plans {
	p.again = &recomputer{kept: kept, validator: validator, workers: workers}
	return p
}

// RecomputePlan computes a kept plan anew and compares.
func (p *Plans) RecomputePlan(ctx context.Context, r *bowrollv1.RecomputePlanRequest) (*bowrollv1.RecomputePlanResponse, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	var plan store.Plan
	if err := p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		plan, err = reader.Plan(ctx, id)
		return err
	}); err != nil {
		return nil, err
	}
	version, revision := plan.ModelVersion, plan.CatalogRevision
	if r.GetModelVersion() != "" {
		version = r.GetModelVersion()
	}
	if r.GetCatalogRevision() != "" {
		revision = r.GetCatalogRevision()
	}
	if err := computes(version); err != nil {
		return nil, err
	}
	if p.again == nil {
		return nil, readOnly()
	}
	snapshot, err := p.again.kept.Revision(ctx, revision)
	if err != nil {
		return nil, refused(err)
	}
	whole, err := p.whole(plan, r)
	if err != nil {
		return nil, err
	}
	kept := whole.GetAnswer()
	computed, err := NewCycles(p.again.validator, snapshot, p.again.workers).Plan(ctx, askedFor(whole.GetCycle(), kept))
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.RecomputePlanResponse{
		KeptDigest: canonical.Digest(kept), ComputedDigest: canonical.Digest(computed), Answer: computed,
		Pinned: whole.GetPinned(), Provenance: computed.GetProvenance(),
	}
	if a, b := plan.RequestDigest, computed.GetProvenance().GetRequestDigest(); a != b && revision == plan.CatalogRevision {
		out.Differences = append(out.Differences, "provenance.request_digest: the plan was asked for with settings that are not kept, such as what to keep of an earlier plan")
	}
	differences(kept.ProtoReflect(), computed.ProtoReflect(), "", &out.Differences)
	out.Same = len(out.Differences) == 0 && out.KeptDigest == out.ComputedDigest
	return out, nil
}

// computes refuses a version of the model that this program does not compute
// with, naming those that are known.
func computes(version string) error {
	if version == perf.ModelVersion {
		return nil
	}
	known := make([]string, len(perf.Versions()))
	told := false
	for i, v := range perf.Versions() {
		known[i] = v.Version
		told = told || v.Version == version
	}
	list := strings.Join(known, ", ")
	if told {
		return refused(store.Errorf(store.Refused, "MODEL_VERSION_PAST", "this program computes with version %s of the model, not %s: run the program of that version over a copy of the store; known are %s", perf.ModelVersion, version, list).
			At("model_version").With("known", list))
	}
	return refused(store.Errorf(store.NotFound, "MODEL_VERSION_UNKNOWN", "version %s of the model is not known: known are %s, and this program computes with %s", version, list, perf.ModelVersion).
		At("model_version").With("known", list))
}

// askedFor is the request that an answer answers, as far as it shows.
func askedFor(cycle *bowrollv1.Cycle, answer *bowrollv1.CyclePlan) *bowrollv1.CyclesPlanRequest {
	request := &bowrollv1.CyclesPlanRequest{Cycle: cycle, IncludePrices: answer.GetPrices() != nil, IncludeLp: len(answer.GetLpStages()) > 0}
	for _, l := range answer.GetLaunches() {
		request.IncludeOptions = request.IncludeOptions || len(l.GetOptions()) > 0
	}
	return request
}

// mostDifferences is how many differences are listed.
const mostDifferences = 20

// differences lists the paths in which two messages of one kind differ; where
// they come from is left out.
func differences(a, b protoreflect.Message, path string, list *[]string) {
	fields := a.Descriptor().Fields()
	for i := 0; i < fields.Len() && len(*list) < mostDifferences; i++ {
		fd := fields.Get(i)
		at := strings.TrimPrefix(path+"."+string(fd.Name()), ".")
		if fd.Name() == "provenance" {
			continue
		}
		switch va, vb := a.Get(fd), b.Get(fd); {
		case fd.IsMap():
			if !va.Equal(vb) {
				*list = append(*list, at)
			}
		case fd.IsList() && va.List().Len() == vb.List().Len() && fd.Message() != nil:
			for k := range va.List().Len() {
				differences(va.List().Get(k).Message(), vb.List().Get(k).Message(), fmt.Sprintf("%s[%d]", at, k), list)
			}
		case a.Has(fd) != b.Has(fd):
			*list = append(*list, at)
		case fd.Message() != nil && !fd.IsList():
			if a.Has(fd) && !proto.Equal(va.Message().Interface(), vb.Message().Interface()) {
				differences(va.Message(), vb.Message(), at, list)
			}
		case !va.Equal(vb):
			*list = append(*list, at)
		}
	}
}
