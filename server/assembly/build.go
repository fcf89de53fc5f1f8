package assembly

import (
	"github.com/prometheus/client_golang/prometheus"

	"bowroll/perf"
)

// buildInfo is a metric that is always 1 and says in its labels what runs.
func buildInfo() prometheus.Collector {
	info := prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "bowroll_build_info", Help: "What runs: the program and the model.",
		ConstLabels: prometheus.Labels{"version": programVersion(), "model_version": perf.ModelVersion},
	})
	info.Set(1)
	return info
}
