package rpc

import (
	"context"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Stock answers the stock service from a store.
type Stock struct {
	bowrollv1.UnimplementedStockServer
	keeper
	keys SiteKeys
}

// NewStock returns the stock service over a store. Sites and types are those of
// the snapshot; now is the wall clock of the site.
func NewStock(kept store.Store, snapshot *catalog.Snapshot, now func() time.Time) *Stock {
	return &Stock{keeper: keeper{store: kept, snapshot: snapshot, now: now}}
}

// WithKeys returns the service with the public keys that it takes logs of other
// sites by; without any it takes none.
func (s *Stock) WithKeys(keys SiteKeys) *Stock {
	s.keys = keys
	return s
}

// booster returns the type of a lot of boosters, nil for igniters.
func (s *Stock) booster(lot *bowrollv1.StockLot) (*bowrollv1.BoosterType, error) {
	if lot.GetKind() != bowrollv1.LotKind_LOT_KIND_BOOSTER {
		return nil, nil
	}
	found, ok := s.snapshot.BoosterType(lot.GetType())
	if !ok {
		return nil, unknownName("lot.type", lot.GetType(), s.snapshot.BoosterTypeNames())
	}
	return found, nil
}

// CreateLot takes a new lot on charge.
func (s *Stock) CreateLot(ctx context.Context, r *bowrollv1.CreateLotRequest) (*bowrollv1.StockLot, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	booster, err := s.booster(r.GetLot())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "CreateLot", r, r.GetValidateOnly(), &bowrollv1.StockLot{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.StockLot, error) {
		lot, err := book.ReceiveLot(ctx, lotOf(r.GetLot(), r.GetLotId(), booster), r.GetUnits(), r.GetPlace(), r.GetReason())
		return s.lot(lot, r), err
	})
}

// lot is a lot as the answer to a request.
func (s *Stock) lot(lot store.Lot, r mutation) *bowrollv1.StockLot {
	m := lotMessage(lot)
	m.Provenance = provenance(s.snapshot, r)
	return m
}

// GetLot returns one lot.
func (s *Stock) GetLot(ctx context.Context, r *bowrollv1.GetLotRequest) (answer *bowrollv1.StockLot, err error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		lot, err := reader.Lot(ctx, id)
		answer = lotMessage(lot)
		answer.Provenance = provenance(s.snapshot, r)
		return err
	})
	return answer, err
}

// ListLots returns a page of the lots of a site.
func (s *Stock) ListLots(ctx context.Context, r *bowrollv1.ListLotsRequest) (*bowrollv1.ListLotsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	at, after, size, err := seek(r.GetParent()+"/lots", "", r.GetPageSize(), r.GetPageToken(), mostListed)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ListLotsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		lots, err := reader.Lots(ctx, after, size+1)
		if len(lots) > size {
			lots = lots[:size]
			answer.NextPageToken = next(at, lots[size-1].ID)
		}
		for _, lot := range lots {
			answer.Lots = append(answer.Lots, lotMessage(lot))
		}
		return err
	})
	return answer, err
}

// UpdateLot replaces what is known of a lot.
func (s *Stock) UpdateLot(ctx context.Context, r *bowrollv1.UpdateLotRequest) (*bowrollv1.StockLot, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	booster, err := s.booster(r.GetLot())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "UpdateLot", r, false, &bowrollv1.StockLot{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.StockLot, error) {
		lot, err := book.ChangeLot(ctx, lotOf(r.GetLot(), id, booster), etagSeq(r.GetEtag()), r.GetReason())
		return s.lot(lot, r), err
	})
}

// ReceiveUnits takes more units of a lot on charge.
func (s *Stock) ReceiveUnits(ctx context.Context, r *bowrollv1.ReceiveUnitsRequest) (*bowrollv1.StockLot, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "ReceiveUnits", r, false, &bowrollv1.StockLot{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.StockLot, error) {
		lot, err := book.ReceiveUnits(ctx, id, r.GetUnits(), r.GetPlace(), r.GetReason())
		return s.lot(lot, r), err
	})
}

// SuspendLot bars a lot from use.
func (s *Stock) SuspendLot(ctx context.Context, r *bowrollv1.SuspendLotRequest) (*bowrollv1.SuspendLotResponse, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "SuspendLot", r, false, &bowrollv1.SuspendLotResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.SuspendLotResponse, error) {
		lot, voided, err := book.SuspendLot(ctx, id, r.GetReason(), r.GetAuthority())
		return &bowrollv1.SuspendLotResponse{Lot: lotMessage(lot), VoidedSorties: voided, Provenance: provenance(s.snapshot, r)}, err
	})
}

// LiftSuspension lets a lot be used again.
func (s *Stock) LiftSuspension(ctx context.Context, r *bowrollv1.LiftSuspensionRequest) (*bowrollv1.StockLot, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "LiftSuspension", r, false, &bowrollv1.StockLot{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.StockLot, error) {
		lot, err := book.LiftSuspension(ctx, id, r.GetReason(), r.GetAuthority())
		return s.lot(lot, r), err
	})
}

// CountLot compares what was seen with the ledger.
func (s *Stock) CountLot(ctx context.Context, r *bowrollv1.CountLotRequest) (*bowrollv1.CountLotResponse, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "CountLot", r, false, &bowrollv1.CountLotResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.CountLotResponse, error) {
		d, err := book.CountStock(ctx, id, r.GetPlace(), r.GetUnitsSeen(), r.GetReason())
		return &bowrollv1.CountLotResponse{
			ExpectedCount: int32(d.Expected), SeenCount: int32(d.Seen), Missing: d.Missing, Misplaced: d.Misplaced,
			Unknown: d.Unknown, Provenance: provenance(s.snapshot, r),
		}, err
	})
}

// SummarizeStock counts the units of a site.
func (s *Stock) SummarizeStock(ctx context.Context, r *bowrollv1.SummarizeStockRequest) (*bowrollv1.SummarizeStockResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.SummarizeStockResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		counts, err := reader.CountUnits(ctx, store.UnitFilter{})
		for _, c := range counts {
			answer.Counts = append(answer.Counts, &bowrollv1.StockCount{
				Lot: c.Lot, Kind: kindName(c.Kind), Type: c.Type, State: stateName(c.State), UnitCount: int32(c.Count),
			})
			answer.UnitCount += int32(c.Count)
			if c.State == store.Available {
				answer.AvailableCount += int32(c.Count)
			}
		}
		return err
	})
	return answer, err
}

// PickUnits names the units to take next.
func (s *Stock) PickUnits(ctx context.Context, r *bowrollv1.PickUnitsRequest) (*bowrollv1.PickUnitsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	if _, ok := s.snapshot.BoosterType(r.GetBoosterType()); !ok {
		return nil, unknownName("booster_type", r.GetBoosterType(), s.snapshot.BoosterTypeNames())
	}
	answer := &bowrollv1.PickUnitsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		picks, err := ledger.PickUnits(ctx, reader, r.GetBoosterType(), int(r.GetUnitCount()), r.GetPairs(), r.GetUseTime().AsTime())
		for _, pick := range picks {
			answer.Picks = append(answer.Picks, &bowrollv1.UnitPick{Unit: unitMessage(pick.Unit), Reason: pick.Reason})
		}
		return err
	})
	return answer, err
}
