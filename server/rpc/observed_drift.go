package rpc

import (
	"strings"

	"github.com/prometheus/client_golang/prometheus"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// DriftWatch shows in metrics whether the catalog that holds still describes the
// runs of each site, as last worked out. A nil one shows nothing.
type DriftWatch struct {
	alarm, sum *prometheus.GaugeVec
}

// NewDriftWatch registers the metrics.
func NewDriftWatch(registry prometheus.Registerer) (*DriftWatch, error) {
	labels := []string{"site", "aircraft_type"}
	w := &DriftWatch{
		alarm: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "bowroll_model_drift_alarm", Help: "1 where the observed runs of a type at a site went over the threshold of drift, when residuals were last worked out.",
		}, labels),
		sum: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "bowroll_model_drift_sum", Help: "Greater of the two cumulative sums of drift, in standard deviations, when residuals were last worked out.",
		}, labels),
	}
	for _, metric := range []prometheus.Collector{w.alarm, w.sum} {
		if err := registry.Register(metric); err != nil {
			return nil, err
		}
	}
	return w, nil
}

// tell takes over what was found at a site.
func (w *DriftWatch) tell(site string, drifts []*bowrollv1.Drift) {
	if w == nil {
		return
	}
	for _, d := range drifts {
		kind := strings.TrimPrefix(d.GetAircraftType(), "aircraftTypes/")
		alarm := 0.0
		if d.GetAlarm() {
			alarm = 1
		}
		w.alarm.WithLabelValues(site, kind).Set(alarm)
		w.sum.WithLabelValues(site, kind).Set(max(d.GetLongScore(), d.GetShortScore()))
	}
}
