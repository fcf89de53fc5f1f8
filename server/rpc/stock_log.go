package rpc

import (
	"context"
	"encoding/hex"
	"errors"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/page"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// RecordReadings records readings of a lot.
func (s *Stock) RecordReadings(ctx context.Context, r *bowrollv1.RecordReadingsRequest) (*bowrollv1.RecordReadingsResponse, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &s.keeper, site, "RecordReadings", r, false, &bowrollv1.RecordReadingsResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.RecordReadingsResponse, error) {
		readings := make([]store.Reading, len(r.GetReadings()))
		for i, m := range r.GetReadings() {
			readings[i] = readingOf(m)
		}
		added, quarantined, err := book.RecordReadings(ctx, id, readings)
		return &bowrollv1.RecordReadingsResponse{
			AddedCount: int32(added), Quarantined: quarantined, Provenance: provenance(s.snapshot, r),
		}, err
	})
}

// rowsAsked is the size of a page of rows.
func rowsAsked(size int32) int {
	if size == 0 {
		return page.DefaultSize
	}
	return min(int(size), mostRows)
}

// ListReadings returns a page of the readings of a lot.
func (s *Stock) ListReadings(ctx context.Context, r *bowrollv1.ListReadingsRequest) (*bowrollv1.ListReadingsResponse, error) {
	site, id, err := s.child("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	size := rowsAsked(r.GetPageSize())
	answer := &bowrollv1.ListReadingsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		if _, err := reader.Lot(ctx, id); err != nil {
			return err
		}
		after := store.FromMicros(0)
		if r.GetAfterTime() != nil {
			after = r.GetAfterTime().AsTime()
		}
		readings, err := reader.Readings(ctx, id, after, size+mostPlaces)
		if err != nil {
			return err
		}
		// A page ends between instants: the next asks for those after the last.
		end := len(readings)
		if end > size {
			for end = size; end < len(readings) && readings[end].Time.Equal(readings[end-1].Time); end++ {
			}
		}
		answer.Complete = len(readings) < size+mostPlaces && end == len(readings)
		for _, reading := range readings[:end] {
			answer.Readings = append(answer.Readings, readingMessage(reading))
		}
		return nil
	})
	return answer, err
}

// mostPlaces is the most readings of one lot at one instant.
const mostPlaces = 64

// GetExposure returns what the readings of a lot add up to.
func (s *Stock) GetExposure(ctx context.Context, r *bowrollv1.GetExposureRequest) (answer *bowrollv1.Exposure, err error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		lot, err := reader.Lot(ctx, id)
		if err != nil {
			return err
		}
		readings, err := ledger.AllReadings(ctx, reader, id)
		e := ledger.ExposureOf(lot, readings)
		answer = &bowrollv1.Exposure{
			ReadingCount: int32(e.ReadingCount), LeastC: e.LeastC, GreatestC: e.GreatestC, WatchedS: e.WatchedS,
			OutsideS: e.OutsideS, UnknownS: e.UnknownS, TemperatureJudged: e.JudgedC, HumidityJudged: e.JudgedHumidity,
			Provenance: provenance(s.snapshot, r),
		}
		return err
	})
	return answer, err
}

// ListMovements returns a page of the log.
func (s *Stock) ListMovements(ctx context.Context, r *bowrollv1.ListMovementsRequest) (*bowrollv1.ListMovementsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	size := rowsAsked(r.GetPageSize())
	answer := &bowrollv1.ListMovementsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		filter := store.MovementFilter{Lot: r.GetLot(), Unit: r.GetUnit(), Plan: r.GetPlan()}
		list, err := reader.Movements(ctx, filter, int64(r.GetAfterSequence()), size+1)
		answer.Complete = len(list) <= size
		if err != nil {
			return err
		}
		sum := 0
		for _, m := range list[:min(size, len(list))] {
			entry := movementMessage(m)
			if r.GetWithContent() {
				if entry.Content, err = contentMessage(ctx, reader, m); err != nil {
					return err
				}
				if sum += proto.Size(entry); sum > mostContent && len(answer.Movements) > 0 {
					answer.Complete = false
					break
				}
			}
			answer.Movements = append(answer.Movements, entry)
		}
		return nil
	})
	return answer, err
}

// mostContent is how many bytes a page of entries with their content grows to,
// unless one entry alone is larger.
const mostContent = 500_000

// contentMessage is what an entry holds a digest of, nil where there is nothing.
func contentMessage(ctx context.Context, r store.Reader, m store.Movement) (*bowrollv1.MovementContent, error) {
	content, ok, err := ledger.ContentOf(ctx, r, m)
	if err != nil || !ok {
		return nil, err
	}
	out := &bowrollv1.MovementContent{Cycle: content.Cycle, Answer: content.Answer}
	for _, reading := range content.Readings {
		out.Readings = append(out.Readings, readingMessage(reading))
	}
	return out, nil
}

// VerifyLog checks the log of a site. That it does not hold is an answer.
func (s *Stock) VerifyLog(ctx context.Context, r *bowrollv1.VerifyLogRequest) (*bowrollv1.VerifyLogResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.VerifyLogResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		head, err := store.Verify(ctx, reader)
		answer.EntryCount, answer.Hash = int32(head.Seq), hex.EncodeToString(head.Hash[:])
		var fault *store.Error
		if errors.As(err, &fault) && fault.Class == store.Corrupt {
			answer.Fault = fault.Text
			return nil
		}
		answer.Holds = err == nil
		return err
	})
	return answer, err
}
