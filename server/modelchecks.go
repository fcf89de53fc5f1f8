package server

import (
	"context"
	"sync"

	"github.com/prometheus/client_golang/prometheus"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// modelChecks tells, as metrics, how the model stands to the published values. A
// process has one model, so they are computed once, when first asked for.
type modelChecks struct {
	model             bowrollv1.ModelServer
	verdicts, against *prometheus.Desc
	once              sync.Once
	told              []prometheus.Metric
}

func newModelChecks(model bowrollv1.ModelServer) *modelChecks {
	return &modelChecks{
		model: model,
		verdicts: prometheus.NewDesc("bowroll_model_checks",
			"Published values that the model is held against, by verdict: HOLDS, FAILS, or SHOWN where the value decides nothing.", []string{"verdict"}, nil),
		against: prometheus.NewDesc("bowroll_model_check_deviation_ratio",
			"What the model differs from a published value, for each unit of what it may: within -1 and 1 it holds.", []string{"check"}, nil),
	}
}

// Describe names the metrics.
func (m *modelChecks) Describe(to chan<- *prometheus.Desc) {
	to <- m.verdicts
	to <- m.against
}

// Collect tells what was found.
func (m *modelChecks) Collect(to chan<- prometheus.Metric) {
	m.once.Do(func() { m.told = m.check(context.Background()) })
	for _, one := range m.told {
		to <- one
	}
}

func (m *modelChecks) check(ctx context.Context) []prometheus.Metric {
	answer, err := m.model.Check(ctx, &bowrollv1.ModelCheckRequest{})
	if err != nil {
		return []prometheus.Metric{prometheus.NewInvalidMetric(m.verdicts, err)}
	}
	count := map[bowrollv1.Verdict]int{}
	var told []prometheus.Metric
	for _, c := range answer.GetChecks() {
		count[c.GetVerdict()]++
		if c.GetTolerance() > 0 {
			told = append(told, prometheus.MustNewConstMetric(m.against, prometheus.GaugeValue, c.GetDeviation()/c.GetTolerance(), c.GetId()))
		}
	}
	for _, verdict := range []bowrollv1.Verdict{bowrollv1.Verdict_VERDICT_HOLDS, bowrollv1.Verdict_VERDICT_FAILS, bowrollv1.Verdict_VERDICT_SHOWN} {
		told = append(told, prometheus.MustNewConstMetric(m.verdicts, prometheus.GaugeValue, float64(count[verdict]), verdict.String()[len("VERDICT_"):]))
	}
	return told
}
