package intercept

import (
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/codes"

	"bowroll/server/refusal"
)

// Metrics counts calls: how many, how they ended, how long they took.
type Metrics struct {
	begun    *prometheus.CounterVec
	ended    *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	inFlight *prometheus.GaugeVec
	limit    *prometheus.GaugeVec
	wait     prometheus.Gauge
	shed     *prometheus.CounterVec
	refused  *prometheus.CounterVec
	panics   prometheus.Counter
	methods  sync.Map // of *methodMetrics by full name
}

// methodMetrics are the metrics of one method, looked up by their labels once.
type methodMetrics struct {
	begun   prometheus.Counter
	seconds prometheus.Observer
	ended   sync.Map // of prometheus.Counter by code, as codes occur
}

// NewMetrics registers the metrics with r, once.
func NewMetrics(r prometheus.Registerer) (*Metrics, error) {
	rpc := []string{"service", "method"}
	m := &Metrics{
		begun: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_rpc_started_total", Help: "Calls begun.",
		}, rpc),
		ended: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_rpc_handled_total", Help: "Calls ended, by status code.",
		}, append(rpc, "code")),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "bowroll_rpc_duration_seconds", Help: "Time from the request read to its answer.",
			Buckets: []float64{.0002, .0005, .001, .002, .005, .01, .02, .05, .1, .2, .5, 1, 2, 5, 10, 30},
		}, rpc),
		inFlight: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "bowroll_rpc_in_flight", Help: "Calls in hand, by class.",
		}, []string{"class"}),
		limit: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "bowroll_rpc_limit", Help: "Calls taken on at once now, by class; it follows the load.",
		}, []string{"class"}),
		wait: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "bowroll_processor_wait_seconds", Help: "What nine in ten goroutines that were ready last waited at most for a processor.",
		}),
		shed: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_rpc_shed_total", Help: "Calls refused because their class was full.",
		}, []string{"class"}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "bowroll_caller_refused_total", Help: "Calls refused because their caller asks too much, by its limit: rate or calls.",
		}, []string{"limit"}),
		panics: prometheus.NewCounter(prometheus.CounterOpts{
			Name: "bowroll_rpc_panics_total", Help: "Calls that panicked. Each is a bug.",
		}),
	}
	for _, c := range []prometheus.Collector{m.begun, m.ended, m.seconds, m.inFlight, m.limit, m.wait, m.shed, m.refused, m.panics} {
		if err := r.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// expect counts no fault of the service yet in each method: a series that first
// appears at one never rises, and no alert would see the first fault.
func (m *Metrics) expect(methods Classes) {
	for method := range methods {
		m.ending(method, codes.Internal)
	}
}

// of returns the metrics of a method that is served.
func (m *Metrics) of(method string) *methodMetrics {
	if found, ok := m.methods.Load(method); ok {
		return found.(*methodMetrics)
	}
	service, name := split(method)
	made, _ := m.methods.LoadOrStore(method, &methodMetrics{
		begun:   m.begun.WithLabelValues(service, name),
		seconds: m.seconds.WithLabelValues(service, name),
	})
	return made.(*methodMetrics)
}

func (m *Metrics) started(method string) { m.of(method).begun.Inc() }

func (m *Metrics) finished(method string, code codes.Code, took time.Duration) {
	of := m.of(method)
	of.seconds.Observe(took.Seconds())
	counter, ok := of.ended.Load(code)
	if !ok {
		counter, _ = of.ended.LoadOrStore(code, m.ending(method, code))
	}
	counter.(prometheus.Counter).Inc()
}

// ending returns the counter of calls that end with code.
func (m *Metrics) ending(method string, code codes.Code) prometheus.Counter {
	service, name := split(method)
	return m.ended.WithLabelValues(service, name, refusal.CodeName(code))
}

// split parts "/package.Service/Method".
func split(method string) (service, name string) {
	service, name, _ = strings.Cut(strings.TrimPrefix(method, "/"), "/")
	return service, name
}
