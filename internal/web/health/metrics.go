package health

import (
	"net"
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"echotally/internal/account"
	"echotally/internal/web/frame"
)

// Metrics are the figures for Prometheus, in a registry of their own. They are for who
// asks from this machine, and for administrators.
func (p *Pages) Metrics(c *frame.Call) error {
	ip := net.ParseIP(c.From())
	if (ip == nil || !ip.IsLoopback()) && (c.Session == nil || !c.Session.Has(account.Administrator)) {
		return &frame.Refusal{Status: http.StatusForbidden, Reason: "These figures are for this machine itself.", Hint: "Ask from here, or as an administrator."}
	}
	registry := prometheus.NewRegistry()
	if err := registry.Register(&collector{p, c}); err != nil {
		return err
	}
	promhttp.HandlerFor(registry, promhttp.HandlerOpts{}).ServeHTTP(c.W, c.R)
	return nil
}

// collector asks for the figures when they are asked for.
type collector struct {
	pages *Pages
	call  *frame.Call
}

func (m *collector) describe(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("echotally_"+name, help, labels, nil)
}

// Describe says nothing beforehand: what there is depends on what is served.
func (m *collector) Describe(chan<- *prometheus.Desc) {}

// Collect gives the figures of this moment.
func (m *collector) Collect(out chan<- prometheus.Metric) {
	gauge := func(name, help string, value float64) {
		out <- prometheus.MustNewConstMetric(m.describe(name, help), prometheus.GaugeValue, value)
	}
	fault := func(what string, err error) {
		out <- prometheus.NewInvalidMetric(m.describe(what, "could not be told"), err)
	}
	ledger := m.call.Lab.Ledger
	if s, err := m.call.Lab.Statistics(m.call.R.Context()); err != nil {
		fault("studies", err)
	} else {
		gauge("studies", "Studies in the ledger.", float64(s.Studies))
		gauge("studies_without_report", "Studies of which no report was read.", float64(s.WithoutReport))
		gauge("ledger_bytes", "Size of the ledger.", float64(s.Bytes))
		gauge("ledger_events", "Events in the chains of the ledger.", float64(s.Events))
		for state, n := range s.Objects {
			out <- prometheus.MustNewConstMetric(m.describe("objects", "Objects in the ledger by what became of them.", "state"), prometheus.GaugeValue, float64(n), state)
		}
	}
	if due, err := ledger.Due(m.call.R.Context()); err != nil {
		fault("studies_due", err)
	} else {
		gauge("studies_due", "Studies to be compared anew.", float64(len(due)))
	}
	if s := m.pages.Spool; s != nil {
		load, err := s.Load()
		held, err2 := s.Held()
		if err != nil || err2 != nil {
			fault("waiting_objects", err)
		} else {
			gauge("waiting_objects", "Objects that wait to be recorded.", float64(load.Objects))
			gauge("waiting_studies", "Studies that wait to be recorded.", float64(load.Studies))
			gauge("quarantine_objects", "Objects that could not be read.", float64(len(held)))
		}
	}
	for _, d := range m.pages.disks() {
		if d.Total > 0 {
			out <- prometheus.MustNewConstMetric(m.describe("disk_free_bytes", "Room where something lies.", "holds"), prometheus.GaugeValue, float64(d.Free), d.Holds)
		}
	}
	if last := m.pages.lastBackup(); !last.IsZero() {
		gauge("backup_timestamp_seconds", "When the last backup was made.", float64(last.Unix()))
	}
}
