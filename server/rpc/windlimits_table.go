package rpc

import (
	"context"
	"fmt"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/air"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// betweenCells says how to read a table between its cells. It holds because the
// least headwind rises with mass and with temperature where the firing is
// planned anew.
const betweenCells = "Between cells take the greatest least headwind of the cells around the point, one to each side in mass and in temperature; where any of them has none, there is none. Beyond the outermost cells nothing is known. Never take a straight line between cells."

// betweenFixed says why there is nothing between the cells of a firing held.
const betweenFixed = "Between cells nothing is known: with the firing held, a load between two others may need more wind than either. Compute the point."

// A tableColumn is the cells of one load at one spot with one fit: temperatures
// by masses.
type tableColumn struct {
	row    *bowrollv1.WindTableRow // what its rows share
	load   *windLoad
	reason string // why none of it can be computed, empty where it can
	airs   []air.Air
	masses []float64
}

// A tableBlock is so many temperatures of a column.
type tableBlock struct {
	column   *tableColumn
	from, to int // temperatures
	index    int // of the first row
}

// Tables are computed in blocks of about blockCells cells, batchBlocks at a
// time; what is in a block begins its search anew, so neither number changes an
// answer.
const (
	blockCells  = 128
	batchBlocks = 16
)

// Tabulate answers the table of a deck.
func (w *WindLimits) Tabulate(req *bowrollv1.WindLimitsTabulateRequest, stream grpc.ServerStreamingServer[bowrollv1.WindLimitsTabulateResponse]) error {
	t, found, err := w.resolver.table(stream.Context(), req)
	if err != nil {
		return err
	}
	if err := refusal.Invalid(found); err != nil {
		return err
	}
	ctx := stream.Context()
	summary := &bowrollv1.WindTableSummary{
		CellCount: int32(t.cells), FiringPlan: req.GetFiringPlan(), BetweenCells: betweenCells, Policy: t.policy,
	}
	if req.GetFiringPlan() == bowrollv1.FiringPlan_FIRING_PLAN_FIXED {
		summary.BetweenCells = betweenFixed
	}
	blocks := t.blocks()
	rows := make([][]*bowrollv1.WindTableRow, batchBlocks)
	cautions := make([][]*bowrollv1.Caution, batchBlocks)
	for done := 0; done < len(blocks); done += batchBlocks {
		batch := blocks[done:min(done+batchBlocks, len(blocks))]
		err := parallel(ctx, w.workers, len(batch), func(i int) (err error) {
			rows[i], cautions[i], err = batch[i].compute(ctx, w.resolver.sampler)
			return err
		})
		if err != nil {
			return err
		}
		sent := 0
		for i := range batch {
			for _, row := range rows[i] {
				tally(summary, row)
				sent = int(row.GetIndex()) + 1
				if err := stream.Send(&bowrollv1.WindLimitsTabulateResponse{Part: &bowrollv1.WindLimitsTabulateResponse_Item{Item: row}}); err != nil {
					return err
				}
			}
			summary.Cautions = appendCautions(summary.Cautions, cautions[i])
		}
		progress := &bowrollv1.WindTableProgress{DoneCount: int32(sent), CellCount: int32(t.cells)}
		if err := stream.Send(&bowrollv1.WindLimitsTabulateResponse{Part: &bowrollv1.WindLimitsTabulateResponse_Progress{Progress: progress}}); err != nil {
			return err
		}
	}
	summary.Provenance = provenance(w.resolver.catalog, t.resolved)
	return stream.Send(&bowrollv1.WindLimitsTabulateResponse{Part: &bowrollv1.WindLimitsTabulateResponse_Summary{Summary: summary}})
}

// tally adds a row to a summary.
func tally(s *bowrollv1.WindTableSummary, row *bowrollv1.WindTableRow) {
	switch row.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		s.FoundCount++
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		s.AnyWindCount++
	default:
		s.NoWindCount++
	}
}

// blocks cuts a table into what is computed in one go.
func (t *table) blocks() []tableBlock {
	var list []tableBlock
	index := 0
	for _, c := range t.columns {
		each := max(1, blockCells/len(c.masses))
		for from := 0; from < len(c.airs); from += each {
			to := min(from+each, len(c.airs))
			list = append(list, tableBlock{c, from, to, index})
			index += (to - from) * len(c.masses)
		}
	}
	return list
}

// compute answers the cells of a block.
func (b tableBlock) compute(ctx context.Context, s *sampler) ([]*bowrollv1.WindTableRow, []*bowrollv1.Caution, error) {
	c := b.column
	var load windLoad // of this block alone: the cells of a column are computed side by side
	var search *takeoff.WindSearch
	var cautions []*bowrollv1.Caution
	rows := make([]*bowrollv1.WindTableRow, 0, (b.to-b.from)*len(c.masses))
	setting := takeoff.Setting{}
	if c.load != nil {
		load = *c.load
		setting = load.res.Setting
	}
	for _, day := range c.airs[b.from:b.to] {
		setting.Air = day
		if search != nil {
			if err := search.Reset(setting); err != nil {
				return nil, nil, err
			}
		}
		for _, mass := range c.masses {
			row := c.newRow(b.index+len(rows), day.TemperatureC, mass)
			rows = append(rows, row)
			if row.Reason = c.cannot(mass); row.Reason != "" {
				row.State = bowrollv1.LimitState_LIMIT_STATE_NONE
				continue
			}
			if search == nil {
				question := load.res.windQuestion(load.plan)
				load.ask(ctx, s, &question)
				var err error
				if search, err = takeoff.NewWindSearch(setting, question); err != nil {
					return nil, nil, err
				}
			}
			search.SetGrossMass(mass)
			load.search = search
			limit, err := load.find()
			if err != nil {
				return nil, nil, err
			}
			load.fill(row, limit)
			cautions = appendCautions(cautions, load.tableCautions(limit))
		}
	}
	return rows, cautions, nil
}

// newRow is a row of the column, not computed yet.
func (c *tableColumn) newRow(index int, temperatureC, massKG float64) *bowrollv1.WindTableRow {
	s := c.row
	return &bowrollv1.WindTableRow{
		Index: int32(index), AircraftType: s.AircraftType, Flap: s.Flap, Spot: s.Spot, AvailableM: s.AvailableM,
		UnitCount: s.UnitCount, BoosterType: s.BoosterType, GrainTemperatureC: s.GrainTemperatureC,
		CrosswindLimitMps: s.CrosswindLimitMps, TailwindLimitMps: s.TailwindLimitMps, WindCeilingMps: s.WindCeilingMps,
		TemperatureC: temperatureC, GrossMassKg: massKG,
	}
}

// cannot says why a mass of the column cannot be computed.
func (c *tableColumn) cannot(massKG float64) string {
	if c.reason != "" {
		return c.reason
	}
	t := c.load.res.Setting.Aircraft
	if massKG < t.EmptyMassKG || t.MaxMassKG > 0 && massKG > t.MaxMassKG {
		return fmt.Sprintf("Not computed: the type's masses are %s to %s kg.", number(t.EmptyMassKG), number(t.MaxMassKG))
	}
	return ""
}

// fill puts a limit into a row.
func (l *windLoad) fill(row *bowrollv1.WindTableRow, limit takeoff.WindLimit) {
	row.State = windLimitAnswer(limit).GetState()
	row.Binds = binding(limit.Binds)
	if limit.Outcome == takeoff.NeverFits {
		row.Reason = l.sentence(limit)
		return
	}
	if limit.Outcome == takeoff.LimitFound {
		row.LeastHeadwindMps = proto.Float64(limit.HeadwindMPS)
	}
	row.GreatestHeadwindMps = finite(limit.MostMPS)
	row.FiringMode, row.DelayS = firedAt(limit.At.Firing, len(l.res.Setting.Units))
	if roll := limit.At.Roll; roll.LiftsOff {
		row.RunM = proto.Float64(roll.RunM)
		row.RequiredRunM = proto.Float64(roll.RunM * l.res.Policy.GetRunFactor())
	}
	row.OverCeiling = l.overCeiling(limit)
}

// tableCautions are those of a cell that a whole table has cause to say: what
// only some of its cells show is in their own columns.
func (l *windLoad) tableCautions(limit takeoff.WindLimit) []*bowrollv1.Caution {
	return slices.DeleteFunc(l.cautions(limit), func(c *bowrollv1.Caution) bool {
		return c.GetId() == "over-ceiling" || c.GetId() == "tailwind"
	})
}
