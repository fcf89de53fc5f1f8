package rpc

import (
	"context"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Tabulate answers the plan of a cycle as rows of a table.
func (c *Cycles) Tabulate(ctx context.Context, req *bowrollv1.CyclesPlanRequest) (*bowrollv1.CyclesTabulateResponse, error) {
	plan, err := c.Plan(ctx, req)
	if err != nil {
		return nil, err
	}
	return &bowrollv1.CyclesTabulateResponse{
		Rows: sortieRows(req.GetCycle(), plan), Proof: plan.GetProof(),
		PriorityLaunched: plan.GetObjective().GetPriorityLaunched(), Bound: plan.GetBound(), UnitsUsed: plan.GetObjective().GetUnitsUsed(),
		Provenance: plan.GetProvenance(),
	}, nil
}

// sortieRows lists every sortie of a plan in launch order.
func sortieRows(cycle *bowrollv1.Cycle, plan *bowrollv1.CyclePlan) []*bowrollv1.SortieRow {
	rows := make([]*bowrollv1.SortieRow, len(cycle.GetSorties()))
	at := make(map[string]*bowrollv1.SortieRow, len(rows))
	for i, s := range cycle.GetSorties() {
		rows[i] = &bowrollv1.SortieRow{
			Order: int32(i + 1), Sortie: s.GetId(), Priority: s.GetPriority(),
			AircraftType: s.GetAircraftType(), GrossMassKg: s.GetGrossMassKg(), LaunchS: s.GetLaunchS(),
		}
		at[s.GetId()] = rows[i]
	}
	for _, l := range plan.GetLaunches() {
		launchColumns(at[l.GetSortie()], l)
	}
	for _, h := range plan.GetHeld() {
		heldColumns(at[h.GetSortie()], h)
	}
	return rows
}

func launchColumns(row *bowrollv1.SortieRow, l *bowrollv1.PlannedLaunch) {
	t := l.GetTakeoff()
	row.Launches, row.Spot, row.LaunchS = true, l.GetSpot(), l.GetLaunchS()
	row.UnitCount, row.Lots = drawColumns(l.GetDraws())
	row.FiringMode, row.CommandS = firingColumns(t.GetFiring())
	row.AvailableM, row.RunM, row.RequiredRunM, row.MarginM = t.AvailableM, t.RunM, t.RequiredRunM, t.MarginM
	row.CreditedHeadwindMps = proto.Float64(t.GetWind().GetCreditedHeadwindMps())
	row.LeastHeadwindMps = limitColumn(l.GetLeastHeadwindMps())
	if l.Leg != nil {
		row.Leg = l.GetLeg().String()
	}
	row.Outcome, row.Text = t.GetOutcome().String(), t.GetLimiting()
}

func heldColumns(row *bowrollv1.SortieRow, h *bowrollv1.HeldSortie) {
	row.Spot, row.HoldReason, row.Text = h.GetSpot(), h.GetReason().String(), h.GetText()
	row.AvailableM = proto.Float64(h.GetAvailableM())
	if near := h.GetNearest(); near != nil {
		row.UnitCount, row.Lots = drawColumns(near.GetDraws())
		row.RequiredRunM, row.MarginM = near.RequiredRunM, near.MarginM
		row.Outcome = near.GetOutcome().String()
	}
	if len(h.GetReleases()) > 0 {
		row.Release = h.GetReleases()[0].GetText()
	}
}

// drawColumns is the number of units drawn and where each comes from.
func drawColumns(draws []*bowrollv1.Draw) (*int32, string) {
	var count int32
	parts := make([]string, len(draws))
	for i, d := range draws {
		count += d.GetUnitCount()
		parts[i] = d.GetLot() + ":" + strconv.Itoa(int(d.GetUnitCount()))
	}
	return &count, strings.Join(parts, " ")
}

// limitColumn is the value of a limit, or nil where the search found none.
func limitColumn(l *bowrollv1.Limit) *float64 {
	if l == nil {
		return nil
	}
	return l.Value
}
