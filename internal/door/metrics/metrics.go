// Package metrics counts what the daemon does and exposes the counters in the
// Prometheus text format.
package metrics

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"dewcase/internal/roof"
)

// Metrics is one daemon's counters. It is safe for concurrent use.
type Metrics struct {
	registry  *prometheus.Registry
	stored    prometheus.Counter
	merged    prometheus.Counter
	duplicate prometheus.Counter
	conflict  prometheus.Counter
	rejected  *prometheus.CounterVec
}

// New starts all counters at 0; every reason for rejection is there from the
// start, so that a first one is seen as a rise.
func New(version string) *Metrics {
	counter := func(name, help string) prometheus.Counter {
		return prometheus.NewCounter(prometheus.CounterOpts{Name: name, Help: help})
	}
	m := &Metrics{
		registry:  prometheus.NewRegistry(),
		stored:    counter("dewcase_readings_stored_total", "Readings stored as new records."),
		merged:    counter("dewcase_readings_merged_total", "Readings that completed the record of their logger and time."),
		duplicate: counter("dewcase_readings_duplicate_total", "Readings dropped because they said nothing new."),
		conflict: counter("dewcase_readings_conflict_total",
			"Readings kept aside because another came first for their logger and time."),
		rejected: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "dewcase_readings_rejected_total",
			Help: "Readings, or messages that could not be decoded, that could not be used, by reason."}, []string{"reason"}),
	}
	for _, r := range roof.Reasons() {
		m.rejected.WithLabelValues(string(r))
	}
	info := prometheus.NewGauge(prometheus.GaugeOpts{Name: "dewcase_build_info",
		Help: "1, labelled with the running version.", ConstLabels: prometheus.Labels{"version": version}})
	info.Set(1)
	m.registry.MustRegister(m.stored, m.merged, m.duplicate, m.conflict, m.rejected, info,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Outcome counts what became of one reading.
func (m *Metrics) Outcome(o roof.Outcome) {
	switch o {
	case roof.Stored:
		m.stored.Inc()
	case roof.Merged:
		m.merged.Inc()
	case roof.Duplicate:
		m.duplicate.Inc()
	case roof.Conflict:
		m.conflict.Inc()
	}
}

// Rejected counts what could not be used.
func (m *Metrics) Rejected(reason roof.Reason, n int) {
	m.rejected.WithLabelValues(string(reason)).Add(float64(n))
}

// Gauge shows a figure that is read when somebody asks; labels may be nil.
func (m *Metrics) Gauge(name, help string, labels map[string]string, read func() float64) {
	m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help, ConstLabels: labels},
		read))
}

// Counter shows a total that is counted elsewhere.
func (m *Metrics) Counter(name, help string, labels map[string]string, read func() float64) {
	m.registry.MustRegister(prometheus.NewCounterFunc(prometheus.CounterOpts{Name: name, Help: help, ConstLabels: labels},
		read))
}

// Handler answers scrapes.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{})
}
