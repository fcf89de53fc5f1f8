package rpc

import (
	"context"
	"fmt"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/page"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/server/store/stockcsv"
)

// Most items of a page: of whole resources, and of rows.
const (
	mostListed = page.GreatestSize
	mostRows   = 1000
	mostCSV    = 5000
)

// next is the token of the page after a key.
func next(r page.Request, last string) string { return page.Next(r, last) }

// GetUnit returns one unit.
func (s *Stock) GetUnit(ctx context.Context, r *bowrollv1.GetUnitRequest) (answer *bowrollv1.Unit, err error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		units, err := reader.Units(ctx, []string{id})
		if err != nil {
			return err
		}
		answer = unitMessage(units[0])
		answer.Provenance = provenance(s.snapshot, r)
		return nil
	})
	return answer, err
}

// ListUnits returns a page of the units of a site.
func (s *Stock) ListUnits(ctx context.Context, r *bowrollv1.ListUnitsRequest) (*bowrollv1.ListUnitsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	filter := store.UnitFilter{Lot: r.GetLot(), State: stateOf(r.GetState()), Place: r.GetPlace(), Plan: r.GetPlan()}
	at, after, size, err := seek(r.GetParent()+"/units", fmt.Sprintf("%q", filter), r.GetPageSize(), r.GetPageToken(), mostRows)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ListUnitsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		units, err := reader.ListUnits(ctx, filter, after, size+1)
		if len(units) > size {
			units = units[:size]
			answer.NextPageToken = next(at, units[size-1].ID)
		}
		answer.Units = make([]*bowrollv1.Unit, len(units))
		for i, unit := range units {
			answer.Units[i] = unitMessage(unit)
		}
		return err
	})
	return answer, err
}

// MoveUnits takes steps of units.
func (s *Stock) MoveUnits(ctx context.Context, r *bowrollv1.MoveUnitsRequest) (*bowrollv1.MoveUnitsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "MoveUnits", r, r.GetValidateOnly(), &bowrollv1.MoveUnitsResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.MoveUnitsResponse, error) {
		units, err := book.Take(ctx, stepsOf(r.GetSteps()))
		answer := &bowrollv1.MoveUnitsResponse{Provenance: provenance(s.snapshot, r)}
		for _, unit := range units {
			answer.Units = append(answer.Units, unitMessage(unit))
		}
		return answer, err
	})
}

// ImportMovements takes the steps of a CSV file.
func (s *Stock) ImportMovements(ctx context.Context, r *bowrollv1.ImportMovementsRequest) (*bowrollv1.ImportMovementsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	rows, err := stockcsv.Read(r.GetCsv())
	if err != nil {
		return nil, refused(err)
	}
	return keep(ctx, &s.keeper, site, "ImportMovements", r, r.GetValidateOnly(), &bowrollv1.ImportMovementsResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.ImportMovementsResponse, error) {
		received, err := stockcsv.Take(ctx, book, rows)
		return &bowrollv1.ImportMovementsResponse{
			StepCount: int32(len(rows)), ReceivedCount: int32(received), Provenance: provenance(s.snapshot, r),
		}, err
	})
}

// ExportUnits returns a page of units as CSV.
func (s *Stock) ExportUnits(ctx context.Context, r *bowrollv1.ExportUnitsRequest) (*bowrollv1.ExportUnitsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	wanted := r.GetPageSize()
	if wanted == 0 {
		wanted = mostCSV
	}
	at, after, size, err := seek(r.GetParent()+"/units:export", r.GetLot(), wanted, r.GetPageToken(), mostCSV)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ExportUnitsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		units, err := reader.ListUnits(ctx, store.UnitFilter{Lot: r.GetLot()}, after, size+1)
		if len(units) > size {
			units = units[:size]
			answer.NextPageToken = next(at, units[size-1].ID)
		}
		answer.Csv, answer.UnitCount = stockcsv.Write(units), int32(len(units))
		return err
	})
	return answer, err
}
