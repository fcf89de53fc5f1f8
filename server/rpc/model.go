package rpc

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"google.golang.org/grpc/status"

	"bowroll/perf/air"
	"bowroll/perf/takeoff"
	"bowroll/perf/vectors"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/published"
	"bowroll/server/refusal"
)

// notice goes with results wherever they are shown.
const notice = "Results advise. The approved flight manual, the ordnance instructions for the unit, local codes and the officers and licensed people responsible decide."

// Model says what computes the answers and holds it against published values.
type Model struct {
	bowrollv1.UnimplementedModelServer
	snapshot *catalog.Snapshot
	program  string
	rows     []published.Row
	cases    string
	digest   func() (string, error)
}

// NewModel returns the model service: the version of the program, the published
// values that the model is held against, and the reference cases that come with
// it, as JSON. Its requests have passed the contract's own rules before they
// come here.
func NewModel(snapshot *catalog.Snapshot, program string, rows []published.Row, cases string) *Model {
	m := &Model{snapshot: snapshot, program: program, rows: rows, cases: cases}
	m.digest = sync.OnceValues(m.computeDigest)
	return m
}

// GetModel returns the model's version and data.
func (m *Model) GetModel(_ context.Context, r *bowrollv1.GetModelRequest) (*bowrollv1.ModelInfo, error) {
	digest, err := m.digest()
	if err != nil {
		return nil, err
	}
	return &bowrollv1.ModelInfo{
		Provenance:     provenance(m.snapshot, r),
		ProgramVersion: m.program,
		Notice:         notice,
		Constants:      constants(),
		Digest:         digest,
		Versions:       versions(),
		Dispersions:    dispersionsInUse(m.snapshot),
	}, nil
}

// constants are the numbers that the equations take for granted.
func constants() []*bowrollv1.Constant {
	const atmosphere = "ICAO Doc 7488; US Standard Atmosphere 1976"
	return []*bowrollv1.Constant{
		{Id: "standard_gravity_mps2", Value: air.GravityMPS2, Source: atmosphere},
		{Id: "gas_constant_dry_air_j_per_kg_k", Value: air.GasConstant, Source: atmosphere},
		{Id: "gas_constant_water_vapour_j_per_kg_k", Value: air.VapourGasConstant, Source: "with Buck (1981), J. Appl. Meteorol. 20, form of 1996"},
		{Id: "sea_level_temperature_k", Value: air.SeaLevelKelvin, Source: atmosphere},
		{Id: "sea_level_pressure_pa", Value: air.SeaLevelPressurePa, Source: atmosphere},
		{Id: "sea_level_density_kg_m3", Value: air.SeaLevelDensityKgM3, Source: "from the three above, p0/(R T0)"},
		{Id: "lapse_k_per_m", Value: air.LapseKPerM, Source: atmosphere},
		{Id: "tropopause_m", Value: air.TropopauseM, Source: atmosphere},
		{Id: "longest_roll_s", Value: takeoff.LimitS, Source: "the model's own: a run is followed no longer"},
	}
}

// Check computes the published values anew and holds the figures against them.
func (m *Model) Check(ctx context.Context, r *bowrollv1.ModelCheckRequest) (*bowrollv1.ModelCheckResponse, error) {
	answer := &bowrollv1.ModelCheckResponse{Provenance: provenance(m.snapshot, r)}
	for _, row := range m.rows {
		if err := ctx.Err(); err != nil {
			return nil, status.FromContextError(err).Err()
		}
		check, err := row.Check()
		if err != nil {
			return nil, err
		}
		answer.Checks = append(answer.Checks, check)
		switch check.GetVerdict() {
		case bowrollv1.Verdict_VERDICT_HOLDS:
			answer.HoldsCount++
		case bowrollv1.Verdict_VERDICT_FAILS:
			answer.FailsCount++
		}
	}
	return answer, nil
}

// CheckVectors computes a file of reference cases, or those that come with the
// program.
func (m *Model) CheckVectors(ctx context.Context, r *bowrollv1.ModelCheckVectorsRequest) (*bowrollv1.ModelCheckVectorsResponse, error) {
	text := r.GetVectorsJson()
	if text == "" {
		text = m.cases
	}
	list, err := vectors.Read(strings.NewReader(text))
	if err != nil {
		return nil, refusal.Invalid([]*bowrollv1.Violation{vectorsFault("", err)})
	}
	if len(list) == 0 {
		return nil, refusal.Invalid([]*bowrollv1.Violation{vectorsFault("", errors.New("the list is empty"))})
	}
	var all []vectors.Deviation
	var faults []*bowrollv1.Violation
	for i := range list {
		if err := ctx.Err(); err != nil {
			return nil, status.FromContextError(err).Err()
		}
		deviations, err := list[i].Check()
		if err != nil {
			faults = append(faults, vectorsFault(fmt.Sprintf("[%d]", i), err))
			continue
		}
		all = append(all, deviations...)
	}
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	answer := &bowrollv1.ModelCheckVectorsResponse{CaseCount: int32(len(list)), Holds: true, Provenance: provenance(m.snapshot, r)}
	answer.Deviations = largestDeviations(all)
	for _, d := range answer.Deviations {
		answer.Holds = answer.Holds && d.GetVerdict() == bowrollv1.Verdict_VERDICT_HOLDS
	}
	return answer, nil
}

func vectorsFault(at string, err error) *bowrollv1.Violation {
	return &bowrollv1.Violation{
		Field: "vectors_json" + at, Rule: "vectors", Allowed: "a JSON list of at least one {id, case, expect} in the published format",
		Hint: strings.Join(strings.Fields(err.Error()), " "),
	}
}

// largestDeviations gives the largest deviation of each quantity, in the order
// of their names.
func largestDeviations(all []vectors.Deviation) []*bowrollv1.VectorDeviation {
	stated := map[string]int32{}
	for _, d := range all {
		stated[d.Quantity]++
	}
	largest := vectors.Largest(all)
	slices.SortFunc(largest, func(a, b vectors.Deviation) int { return strings.Compare(a.Quantity, b.Quantity) })
	list := make([]*bowrollv1.VectorDeviation, len(largest))
	for i, d := range largest {
		list[i] = &bowrollv1.VectorDeviation{
			Quantity: d.Quantity, CaseCount: stated[d.Quantity], CaseId: d.ID, Tolerance: d.Allowed,
			Verdict: bowrollv1.Verdict_VERDICT_FAILS,
		}
		if !math.IsInf(d.Relative, 0) {
			list[i].LargestRelative = &d.Relative
		}
		if d.Within() {
			list[i].Verdict = bowrollv1.Verdict_VERDICT_HOLDS
		}
	}
	return list
}
