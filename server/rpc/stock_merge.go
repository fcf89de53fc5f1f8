package rpc

import (
	"context"
	"encoding/hex"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// MergeMovements brings a part of the log of a site into a copy of it.
func (s *Stock) MergeMovements(ctx context.Context, r *bowrollv1.MergeMovementsRequest) (*bowrollv1.MergeMovementsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	entries, faults := entriesOf(site, r.GetMovements())
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	if err := s.keys.signed(site, r); err != nil {
		return nil, refused(err)
	}
	contents, faults := contentsOf(r)
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	request := store.Request{ID: r.GetRequestId(), Method: "MergeMovements", Hash: hashOf(r), Time: s.now()}
	result, _, err := s.store.Update(ctx, site, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		merged, err := ledger.Merge(ctx, tx, entries, contents)
		if err != nil {
			return nil, err
		}
		return proto.MarshalOptions{Deterministic: true}.Marshal(&bowrollv1.MergeMovementsResponse{
			AddedCount: int32(merged.Added), KnownCount: int32(merged.Known), LastSequence: int32(merged.Head.Seq),
			Hash: hex.EncodeToString(merged.Head.Hash[:]), ContentCount: int32(merged.Content), Provenance: provenance(s.snapshot, r),
		})
	})
	if err != nil {
		return nil, refused(err)
	}
	answer := &bowrollv1.MergeMovementsResponse{}
	if err := proto.Unmarshal(result, answer); err != nil {
		return nil, fmt.Errorf("the answer kept for a request cannot be read: %w", err)
	}
	return answer, nil
}

// contentsOf is what entries hold digests of, as it was sent with them.
func contentsOf(r *bowrollv1.MergeMovementsRequest) (contents []store.Content, faults []*bowrollv1.Violation) {
	for i, m := range r.GetMovements() {
		sent := m.GetContent()
		if sent == nil {
			continue
		}
		content := store.Content{Seq: int64(m.GetSequence()), Cycle: sent.GetCycle(), Answer: sent.GetAnswer()}
		for _, reading := range sent.GetReadings() {
			content.Readings = append(content.Readings, readingOf(reading))
		}
		if store.Event(m.GetEvent()) == store.SavePlan {
			plan, wrong := planOfContent(r.GetParent(), m)
			content.Sorties = plan.Sorties
			if len(wrong) > 0 {
				faults = append(faults, &bowrollv1.Violation{
					Field: fmt.Sprintf("movements[%d].content", i), Rule: "plan", Allowed: "cycle and answer as the site kept them",
					Hint: wrong[0].GetField() + ": " + wrong[0].GetRule(),
				})
			}
		}
		contents = append(contents, content)
	}
	return contents, faults
}

// planOfContent is the plan that a cycle and its answer make.
func planOfContent(site string, m *bowrollv1.Movement) (store.Plan, []*bowrollv1.Violation) {
	create := &bowrollv1.CreatePlanRequest{Parent: site, PlanId: m.GetPlan(), Cycle: &bowrollv1.Cycle{}, Answer: &bowrollv1.CyclePlan{}}
	if proto.Unmarshal(m.GetContent().GetCycle(), create.Cycle) != nil {
		return store.Plan{}, []*bowrollv1.Violation{{Field: "cycle", Rule: "encoding"}}
	}
	if proto.Unmarshal(m.GetContent().GetAnswer(), create.Answer) != nil {
		return store.Plan{}, []*bowrollv1.Violation{{Field: "answer", Rule: "encoding"}}
	}
	return planOf(create)
}

// entriesOf are entries of a log as they were sent. Whether they are what the
// site wrote, their hashes say.
func entriesOf(site string, list []*bowrollv1.Movement) ([]store.Movement, []*bowrollv1.Violation) {
	entries := make([]store.Movement, len(list))
	var faults []*bowrollv1.Violation
	for i, m := range list {
		e := store.Movement{
			Site: site, Seq: int64(m.GetSequence()), Event: store.Event(m.GetEvent()), Lot: m.GetLot(), Unit: m.GetUnit(),
			Plan: m.GetPlan(), Sortie: m.GetSortie(), From: store.State(m.GetFromState()), To: store.State(m.GetToState()),
			Actor: m.GetActor(), Place: m.GetPlace(), Reason: m.GetReason(), Authority: m.GetAuthority(), Igniter: m.GetIgniter(),
			Request: m.GetRequestId(),
		}
		if m.GetDetail() != "" {
			e.Detail = []byte(m.GetDetail())
		}
		if m.GetTime() != nil {
			e.Time = m.GetTime().AsTime()
		}
		if m.GetUntilTime() != nil {
			e.Until = m.GetUntilTime().AsTime()
		}
		for _, h := range []struct {
			field, text string
			into        *store.Hash
		}{{"previous_hash", m.GetPreviousHash(), &e.Previous}, {"hash", m.GetHash(), &e.Hash}} {
			if b, err := hex.DecodeString(h.text); err != nil || len(b) != len(h.into) || h.text != strings.ToLower(h.text) {
				faults = append(faults, &bowrollv1.Violation{
					Field: fmt.Sprintf("movements[%d].%s", i, h.field), Value: h.text, Rule: "pattern", Allowed: "64 hexadecimal digits, lower case",
				})
			} else {
				copy(h.into[:], b)
			}
		}
		entries[i] = e
	}
	return entries, faults
}
