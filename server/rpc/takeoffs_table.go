package rpc

import (
	"context"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Tabulate answers many take-offs as rows of a table.
func (t *Takeoffs) Tabulate(ctx context.Context, req *bowrollv1.TakeoffsBatchComputeRequest) (*bowrollv1.TakeoffsTabulateResponse, error) {
	batch, err := t.BatchCompute(ctx, req)
	if err != nil {
		return nil, err
	}
	rows := make([]*bowrollv1.TakeoffRow, len(batch.GetItems()))
	for i, item := range batch.GetItems() {
		rows[i] = takeoffRow(req.GetCases()[i], item)
	}
	return &bowrollv1.TakeoffsTabulateResponse{Rows: rows, Summary: batch.GetSummary(), Provenance: batch.GetProvenance()}, nil
}

// takeoffRow is one case and its answer in columns.
func takeoffRow(c *bowrollv1.TakeoffCase, item *bowrollv1.TakeoffItem) *bowrollv1.TakeoffRow {
	row := &bowrollv1.TakeoffRow{Index: item.GetIndex(), Id: item.GetId(), Status: item.GetStatus().GetCode()}
	a := item.GetTakeoff()
	if a == nil {
		row.Faults = faultText(item.GetStatus())
		return row
	}
	row.AircraftType, row.Flap, row.GrossMassKg = c.GetAircraftType(), c.GetFlap(), c.GrossMassKg
	row.Deck, row.Spot = c.GetDeck(), c.GetSpot()
	row.TemperatureC = proto.Float64(a.GetAir().GetTemperatureC())
	row.DensityKgM3 = proto.Float64(a.GetAir().GetDensityKgM3())
	row.DensityAltitudeM = proto.Float64(a.GetAir().GetDensityAltitudeM())
	row.HeadwindMps = proto.Float64(a.GetWind().GetHeadwindMps())
	row.CreditedHeadwindMps = proto.Float64(a.GetWind().GetCreditedHeadwindMps())
	row.CrosswindMps = proto.Float64(a.GetWind().GetCrosswindMps())
	unitColumns(row, c.GetBoosters(), a.GetFiring())
	rollColumns(row, a)
	row.Outcome, row.Goes = a.GetOutcome().String(), proto.Bool(goes(a.GetOutcome()))
	row.AvailableM, row.TakeoffDistanceM = a.AvailableM, a.TakeoffDistanceM
	row.GradientWithBoosters = a.GetClimb().GradientWithBoosters
	row.GradientWithoutBoosters = a.GetClimb().GradientWithoutBoosters
	row.BurnEndMinusLiftoffS = a.GetClimb().BurnEndMinusLiftoffS
	row.Covered = a.Covered
	row.LeastHeadwindMps = limitColumn(a.GetLimits().GetLeastHeadwindMps())
	row.Limiting, row.Cautions = a.GetLimiting(), cautionNames(a.GetCautions())
	return row
}

// unitColumns fills in the units and their firing. Without boosters there are
// none, which is a number and no gap.
func unitColumns(row *bowrollv1.TakeoffRow, b *bowrollv1.Boosters, f *bowrollv1.FiringUsed) {
	row.UnitCount, row.DudCount = proto.Int32(b.GetCount()), proto.Int32(b.GetDuds())
	row.BoosterType = b.GetBoosterType()
	if b != nil {
		row.GrainTemperatureC = b.GrainTemperatureC
	}
	row.FiringMode, row.CommandS = firingColumns(f)
}

// firingColumns is the mode of a firing and its command; the command is absent
// where there is none.
func firingColumns(f *bowrollv1.FiringUsed) (string, *float64) {
	switch {
	case f == nil:
		return "", nil
	case f.GetMode() == bowrollv1.FiringMode_FIRING_MODE_UNLIT:
		return f.GetMode().String(), nil
	}
	return f.GetMode().String(), proto.Float64(f.GetCue().GetTimeS())
}

// rollColumns fills in the run and how sure it is.
func rollColumns(row *bowrollv1.TakeoffRow, a *bowrollv1.Takeoff) {
	roll := a.GetRoll()
	row.LiftoffTimeS, row.RollM = roll.TimeS, roll.DistanceM
	row.RunM, row.RequiredRunM, row.MarginM = a.RunM, a.RequiredRunM, a.MarginM
	row.LiftoffGroundSpeedMps, row.LiftoffAirspeedMps = roll.GroundSpeedMps, roll.LiftoffAirspeedMps
	if chance := a.GetChance(); chance != nil {
		row.Probability = proto.Float64(chance.GetProbability())
		row.RunP50M, row.RunPercentileM, row.RunP99M = chance.RunP50M, chance.RunPercentileM, chance.RunP99M
	}
}

func faultText(s *bowrollv1.ItemStatus) string {
	var b strings.Builder
	for i, v := range s.GetViolations() {
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(v.GetField())
		if v.GetValue() != "" {
			b.WriteString(" = " + v.GetValue())
		}
		if v.GetAllowed() != "" {
			b.WriteString(": give " + v.GetAllowed())
		} else {
			b.WriteString(": " + v.GetRule())
		}
	}
	return b.String()
}

func cautionNames(list []*bowrollv1.Caution) string {
	names := make([]string, len(list))
	for i, c := range list {
		names[i] = c.GetId()
	}
	return strings.Join(names, " ")
}
