package sweep

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Metrics counts what a desk does. It is a collector.
type Metrics struct {
	chunks, rows, cpu prometheus.Counter
	waiting           prometheus.Gauge
}

// NewMetrics counts from 0.
func NewMetrics() *Metrics {
	return &Metrics{
		chunks:  prometheus.NewCounter(prometheus.CounterOpts{Name: "bowroll_sweep_chunks_done_total", Help: "Parts of sweeps that this service computed."}),
		rows:    prometheus.NewCounter(prometheus.CounterOpts{Name: "bowroll_sweep_rows_done_total", Help: "Rows of sweeps that this service computed."}),
		cpu:     prometheus.NewCounter(prometheus.CounterOpts{Name: "bowroll_sweep_cpu_seconds_total", Help: "Processor time that sweeps took here."}),
		waiting: prometheus.NewGauge(prometheus.GaugeOpts{Name: "bowroll_sweep_chunks_waiting", Help: "Parts of sweeps of all sites that are not done yet, whoever computes them."}),
	}
}

func (m *Metrics) done(rows int, cpu time.Duration) {
	m.chunks.Inc()
	m.rows.Add(float64(rows))
	m.cpu.Add(cpu.Seconds())
}

// Describe describes the metrics.
func (m *Metrics) Describe(to chan<- *prometheus.Desc) { prometheus.DescribeByCollect(m, to) }

// Collect collects the metrics.
func (m *Metrics) Collect(to chan<- prometheus.Metric) {
	for _, c := range []prometheus.Collector{m.chunks, m.rows, m.cpu, m.waiting} {
		c.Collect(to)
	}
}
