package rpc

import (
	"context"
	"sync"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
	"bowroll/server/sweep"
)

// SweepRows computes the rows of sweeps by the same path as every take-off, with
// the revision of the catalog that each is pinned to. It is safe for use by many
// goroutines.
type SweepRows struct {
	store     store.Store
	validator protovalidate.Validator

	lock sync.Mutex
	// held are resolvers by revision; revisions are few and never change.
	held map[string]resolver
}

var _ sweep.Computer = (*SweepRows)(nil)

// mostRevisions is how many revisions of the catalog are held ready at once.
const mostRevisions = 4

// NewSweepRows computes with the revisions of the catalog that a store keeps.
func NewSweepRows(kept store.Store, validator protovalidate.Validator) *SweepRows {
	return &SweepRows{store: kept, validator: validator, held: map[string]resolver{}}
}

// Prepare makes a kernel. See [sweep.Computer].
func (s *SweepRows) Prepare(ctx context.Context, spec *bowrollv1.SweepSpec, plan *sweep.Plan, revision string) (sweep.Kernel, error) {
	r, err := s.resolver(ctx, revision)
	if err != nil {
		return nil, err
	}
	return newSweepKernel(r, spec, plan), nil
}

func (s *SweepRows) resolver(ctx context.Context, revision string) (resolver, error) {
	s.lock.Lock()
	defer s.lock.Unlock()
	if r, ok := s.held[revision]; ok {
		return r, nil
	}
	var snapshot *catalog.Snapshot
	err := s.store.View(ctx, store.Fleet, func(ctx context.Context, r store.Reader) (err error) {
		snapshot, err = (&KeptCatalog{validator: s.validator}).read(ctx, r, revision)
		return err
	})
	if err != nil {
		return resolver{}, err
	}
	if len(s.held) >= mostRevisions {
		clear(s.held)
	}
	r := newResolver(s.validator, snapshot, 1)
	s.held[revision] = r
	return r, nil
}

// baseOf is the case that the rows of a spec begin with, to be written to.
func baseOf(spec *bowrollv1.SweepSpec) *bowrollv1.TakeoffCase {
	if spec.GetCase() == nil {
		return &bowrollv1.TakeoffCase{}
	}
	return proto.CloneOf(spec.GetCase())
}
