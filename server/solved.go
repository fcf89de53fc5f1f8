package server

import (
	"github.com/prometheus/client_golang/prometheus"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// solved counts the allocations that answers hold: how many were proven optimal,
// and how far the others may be from the best.
type solved struct {
	plans *prometheus.CounterVec
	gap   prometheus.Histogram
}

func newSolved(registry prometheus.Registerer) (*solved, error) {
	s := &solved{
		plans: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_plans_total", Help: "Allocations answered, by what is proven of them: OPTIMAL or FEASIBLE.",
		}, []string{"proof"}),
		gap: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name: "bowroll_plan_gap", Help: "Priority that an allocation may be short of the best: its bound less what it launches. 0 where it is optimal.",
			Buckets: []float64{0, 1, 2, 5, 10, 20, 50, 100, 1000},
		}),
	}
	for _, proof := range []bowrollv1.Proof{bowrollv1.Proof_PROOF_OPTIMAL, bowrollv1.Proof_PROOF_FEASIBLE} {
		s.plans.WithLabelValues(proofName(proof)) // both are told from the start
	}
	if err := registry.Register(s.plans); err != nil {
		return nil, err
	}
	return s, registry.Register(s.gap)
}

// proofName is what the metric calls a proof.
func proofName(p bowrollv1.Proof) string { return p.String()[len("PROOF_"):] }

// allocation is what every answer of the solver tells.
type allocation interface {
	GetProof() bowrollv1.Proof
	GetGap() float64
}

// answered counts the allocations of an answer, if it holds any. The plans of a
// fleet are one allocation.
func (s *solved) answered(answer any) {
	switch a := answer.(type) {
	case *bowrollv1.CyclesPlanStreamResponse:
		if a.GetItem() != nil {
			s.count(a.GetItem())
		}
	case *bowrollv1.CyclesCompareResponse:
		for _, v := range a.GetVariants() {
			s.count(v)
		}
	case allocation:
		s.count(a)
	}
}

func (s *solved) count(a allocation) {
	if a.GetProof() == bowrollv1.Proof_PROOF_UNSPECIFIED { // a variant that has a status in place of a plan
		return
	}
	s.plans.WithLabelValues(proofName(a.GetProof())).Inc()
	s.gap.Observe(a.GetGap())
}
