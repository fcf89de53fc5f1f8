package rpc

import (
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
)

// ProposeCorrection fits a correction and keeps it as a proposal.
func (o *Observations) ProposeCorrection(ctx context.Context, r *bowrollv1.ProposeCorrectionRequest) (*bowrollv1.Correction, error) {
	site, err := o.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	into := &bowrollv1.Correction{}
	// Before the transaction: it may take seconds. A repeat gets its first answer
	// whatever has been recorded since.
	fit, fitErr := o.fit(ctx, site, r.GetCorrectionId(), r.GetAircraftType(), r.GetSettings())
	err = o.write(ctx, store.Fleet, "ProposeCorrection", r, into, func(ctx context.Context, tx store.Tx, actor string, now time.Time) (proto.Message, error) {
		if fitErr != nil {
			return nil, fitErr
		}
		m := &bowrollv1.Correction{
			Name: "corrections/" + r.GetCorrectionId(), State: bowrollv1.CorrectionState_CORRECTION_STATE_PROPOSED,
			Site: r.GetParent(), AircraftType: r.GetAircraftType(), CatalogRevision: o.snapshot.Revision(), Fit: fit,
			ProposedBy: actor, Reason: r.GetReason(), CreateTime: stamp(now), Etag: etag(1),
		}
		if err := tx.PutCorrection(ctx, store.Correction{
			ID: r.GetCorrectionId(), State: store.CorrectionProposed, AircraftType: r.GetAircraftType(),
			CatalogRevision: o.snapshot.Revision(), Body: encoded(m), CreateTime: now, UpdateTime: now, Seq: 1,
		}, 0); err != nil {
			return nil, err
		}
		m.Provenance = provenance(o.snapshot, r)
		return m, nil
	})
	return into, err
}

// correctionMessage is a correction as the contract shows it.
func correctionMessage(c store.Correction) (*bowrollv1.Correction, error) {
	m := &bowrollv1.Correction{}
	if err := proto.Unmarshal(c.Body, m); err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "ROW_UNREADABLE", Text: "correction " + c.ID + " cannot be read", Err: err}
	}
	return m, nil
}

// GetCorrection returns one correction.
func (o *Observations) GetCorrection(ctx context.Context, r *bowrollv1.GetCorrectionRequest) (m *bowrollv1.Correction, err error) {
	err = o.read(ctx, store.Fleet, func(ctx context.Context, reader store.Reader) error {
		c, err := reader.Correction(ctx, lastPart(r.GetName()))
		if err != nil {
			return err
		}
		if m, err = correctionMessage(c); err == nil {
			m.Provenance = provenance(o.snapshot, r)
		}
		return err
	})
	return m, err
}

// ListCorrections returns a page of corrections.
func (o *Observations) ListCorrections(ctx context.Context, r *bowrollv1.ListCorrectionsRequest) (*bowrollv1.ListCorrectionsResponse, error) {
	at, after, size, err := seek("corrections", r.GetAircraftType(), r.GetPageSize(), r.GetPageToken(), mostListed)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ListCorrectionsResponse{Provenance: provenance(o.snapshot, r)}
	err = o.read(ctx, store.Fleet, func(ctx context.Context, reader store.Reader) error {
		list, err := reader.Corrections(ctx, r.GetAircraftType(), after, size+1)
		if err != nil {
			return err
		}
		if len(list) > size {
			list = list[:size]
			answer.NextPageToken = next(at, list[size-1].ID)
		}
		for _, c := range list {
			m, err := correctionMessage(c)
			if err != nil {
				return err
			}
			answer.Corrections = append(answer.Corrections, m)
		}
		return nil
	})
	return answer, err
}

// AcceptCorrection makes a proposal part of the catalog.
func (o *Observations) AcceptCorrection(ctx context.Context, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
	return o.decide(ctx, "AcceptCorrection", r, store.CorrectionProposed, store.CorrectionAccepted,
		func(_ context.Context, _ store.Tx, before *catalog.Snapshot, m *bowrollv1.Correction) (*catalog.Snapshot, error) {
			if now := before.Revision(); now != m.GetCatalogRevision() {
				return nil, store.Errorf(store.Changed, "CATALOG_CHANGED", "the catalog was changed since %s was fitted (%s, now %s): fit and propose it anew", m.GetName(), m.GetCatalogRevision(), now).
					At("name").With("revision", m.GetCatalogRevision())
			}
			return o.corrected(before, m, m.GetFit().GetProposed())
		})
}

// RejectCorrection declines a proposal.
func (o *Observations) RejectCorrection(ctx context.Context, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
	return o.decide(ctx, "RejectCorrection", r, store.CorrectionProposed, store.CorrectionRejected,
		func(_ context.Context, _ store.Tx, before *catalog.Snapshot, _ *bowrollv1.Correction) (*catalog.Snapshot, error) {
			return before, nil
		})
}

// RevertCorrection takes an accepted correction out of the catalog again.
func (o *Observations) RevertCorrection(ctx context.Context, r *bowrollv1.DecideCorrectionRequest) (*bowrollv1.Correction, error) {
	return o.decide(ctx, "RevertCorrection", r, store.CorrectionAccepted, store.CorrectionReverted,
		func(ctx context.Context, tx store.Tx, before *catalog.Snapshot, m *bowrollv1.Correction) (*catalog.Snapshot, error) {
			now, ok := before.AircraftType(m.GetAircraftType())
			if held := now.GetCorrection().GetId(); !ok || held != lastPart(m.GetName()) {
				return nil, store.Errorf(store.Refused, "CORRECTION_NOT_HELD", "%s is corrected by %q by now, not by %s: revert that one", m.GetAircraftType(), held, m.GetName()).At("name")
			}
			earlier, err := o.kept.read(ctx, tx, m.GetCatalogRevision())
			if err != nil {
				return nil, err
			}
			was, _ := earlier.AircraftType(m.GetAircraftType())
			return o.corrected(before, m, was.GetCorrection())
		})
}

// corrected is the catalog with another correction of one type; nil for none.
func (o *Observations) corrected(before *catalog.Snapshot, m *bowrollv1.Correction, c *bowrollv1.AircraftCorrection) (*catalog.Snapshot, error) {
	contents := before.Contents()
	list := slices.Clone(contents.AircraftTypes)
	at := slices.IndexFunc(list, func(t *bowrollv1.AircraftType) bool { return t.GetName() == m.GetAircraftType() })
	if at < 0 {
		return nil, unknownName("aircraft_type", m.GetAircraftType(), before.AircraftTypeNames())
	}
	list[at] = asKept(list[at])
	list[at].Correction = c
	contents.AircraftTypes = list
	return o.kept.rebuilt(contents, "aircraft_types", "correction", at)
}

// decide takes a correction from one state to another and makes what edit makes
// of the catalog the revision that holds, both or neither.
func (o *Observations) decide(ctx context.Context, method string, r *bowrollv1.DecideCorrectionRequest, from, to store.CorrectionState,
	edit func(ctx context.Context, tx store.Tx, before *catalog.Snapshot, m *bowrollv1.Correction) (*catalog.Snapshot, error)) (*bowrollv1.Correction, error) {
	into := &bowrollv1.Correction{}
	err := o.write(ctx, store.Fleet, method, r, into, func(ctx context.Context, tx store.Tx, actor string, now time.Time) (proto.Message, error) {
		row, err := tx.Correction(ctx, lastPart(r.GetName()))
		if err != nil {
			return nil, err
		}
		if row.Seq != etagSeq(r.GetEtag()) {
			return nil, store.Errorf(store.Changed, "ETAG_MISMATCH", "%s was decided on since it was read (etag %s, now %s): read it again and decide anew", r.GetName(), r.GetEtag(), etag(row.Seq)).At("etag")
		}
		if row.State != from {
			return nil, store.Errorf(store.Refused, "CORRECTION_STATE", "%s is %s: only one that is %s can be %s", r.GetName(), row.State, from, to).At("name")
		}
		m, err := correctionMessage(row)
		if err != nil {
			return nil, err
		}
		_, revision, err := newest(ctx, tx)
		if err != nil {
			return nil, err
		}
		before, err := o.kept.read(ctx, tx, revision)
		if err != nil {
			return nil, err
		}
		after, err := edit(ctx, tx, before, m)
		if err != nil {
			return nil, err
		}
		if after.Revision() != before.Revision() {
			reason := method + " " + r.GetName() + ": " + r.GetReason()
			if err := o.kept.write(ctx, tx, after, actor, reason, r.GetRequestId()); err != nil {
				return nil, err
			}
		}
		row.State, row.Seq, row.UpdateTime = to, row.Seq+1, now
		m.State, m.Etag = correctionStateName(to), etag(row.Seq)
		m.Decisions = append(m.Decisions, &bowrollv1.CorrectionDecision{
			State: m.State, Actor: actor, Reason: r.GetReason(), DecideTime: stamp(now), CatalogRevision: after.Revision(),
		})
		row.Body = encoded(m)
		if err := tx.PutCorrection(ctx, row, row.Seq-1); err != nil {
			return nil, err
		}
		m.Provenance = provenance(after, r)
		return m, nil
	})
	if err != nil {
		return into, err
	}
	return into, refused(o.kept.refresh(ctx))
}

func correctionStateName(s store.CorrectionState) bowrollv1.CorrectionState {
	return bowrollv1.CorrectionState(bowrollv1.CorrectionState_value["CORRECTION_STATE_"+strings.ToUpper(string(s))])
}
