package rpc

import (
	"google.golang.org/protobuf/proto"

	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/canonical"
	"bowroll/server/catalog"
)

// library is a catalog with everything that many requests would work out from it
// again: the model's types and each deck's policy. It is only read once made, but
// for the memory that runs are computed in.
type library struct {
	*catalog.Snapshot
	aircraft map[*bowrollv1.AircraftType]*aircraft.Type
	boosters map[*bowrollv1.BoosterType]*booster.Type
	policies map[*bowrollv1.Deck]*bowrollv1.Policy
	seals    canonical.Seals
	runs     runs
}

func newLibrary(s *catalog.Snapshot) *library {
	l := &library{
		Snapshot: s,
		aircraft: map[*bowrollv1.AircraftType]*aircraft.Type{},
		boosters: map[*bowrollv1.BoosterType]*booster.Type{},
		policies: map[*bowrollv1.Deck]*bowrollv1.Policy{},
	}
	for _, t := range s.AircraftTypes() {
		l.aircraft[t] = aircraftType(t)
	}
	for _, t := range s.BoosterTypes() {
		l.boosters[t] = boosterType(t)
	}
	for _, name := range s.DeckNames() {
		d, _ := s.Deck(name)
		l.policies[d] = policyUsed(d.GetPolicy())
		canonical.Seal(&l.seals, []*bowrollv1.Deck{d})
		canonical.Seal(&l.seals, []*bowrollv1.Surface{d.GetSurface()})
		canonical.Seal(&l.seals, []*bowrollv1.Policy{l.policies[d]})
	}
	canonical.Seal(&l.seals, s.AircraftTypes())
	canonical.Seal(&l.seals, s.BoosterTypes())
	canonical.Seal(&l.seals, s.Sites())
	return l
}

// Digest is the digest of a request, sooner where it holds what the library does.
func (l *library) Digest(messages ...proto.Message) string { return l.seals.Digest(messages...) }

// aircraftModel is the model's form of an aircraft type, from the catalog or
// given inline.
func (l *library) aircraftModel(t *bowrollv1.AircraftType) *aircraft.Type {
	if m, ok := l.aircraft[t]; ok {
		return m
	}
	return aircraftType(t)
}

// boosterModel is the model's form of a booster type, from the catalog or given
// inline.
func (l *library) boosterModel(t *bowrollv1.BoosterType) *booster.Type {
	if m, ok := l.boosters[t]; ok {
		return m
	}
	return boosterType(t)
}

// policy is a request's policy over its deck's. The answer is shared and must
// not be written to.
func (l *library) policy(asked *bowrollv1.Policy, d *bowrollv1.Deck) *bowrollv1.Policy {
	if p, ok := l.policies[d]; ok && asked == nil {
		return p
	}
	return policyUsed(asked, d.GetPolicy())
}
