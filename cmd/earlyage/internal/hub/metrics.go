package hub

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/scheduler"
)

// metrics gathers what a watcher outside the hub needs. The values are read of
// the record when they are asked for.
func (h *Hub) metrics() *prometheus.Registry {
	r := prometheus.NewRegistry()
	r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), gauges{h}, h.told)
	return r
}

type gauges struct{ hub *Hub }

var (
	gaugeOK      = prometheus.NewDesc("earlyage_hub_ok", "1 while nothing is wrong with the hub itself: level, no hole, stream not short, clock trusted.", nil, nil)
	gaugeThrough = prometheus.NewDesc("earlyage_folded_sequence", "Sequence of the stream through which the record is folded.", nil, nil)
	gaugeLevel   = prometheus.NewDesc("earlyage_level", "1 while the record is level with the head of the stream.", nil, nil)
	gaugeShort   = prometheus.NewDesc("earlyage_stream_short", "1 while the stream is shorter than the store: nothing is published.", nil, nil)
	gaugeHoles   = prometheus.NewDesc("earlyage_stream_holes", "Holes in the stream's sequence that nobody has accepted.", nil, nil)
	gaugeDoubts  = prometheus.NewDesc("earlyage_doubts", "Reasons of the hub's own that shut every window.", nil, nil)
	gaugeSites   = prometheus.NewDesc("earlyage_sites", "Sites in the record.", nil, nil)
	gaugeWalls   = prometheus.NewDesc("earlyage_walls", "Walls in the record.", nil, nil)
	gaugeAlerts  = prometheus.NewDesc("earlyage_alerts", "Alerts that stand, by priority.", []string{"priority"}, nil)
)

// Describe implements prometheus.Collector.
func (g gauges) Describe(ch chan<- *prometheus.Desc) { prometheus.DescribeByCollect(g, ch) }

// Collect implements prometheus.Collector.
func (g gauges) Collect(ch chan<- prometheus.Metric) {
	var health api.Health
	var sites, walls, doubts int
	alerts := map[string]int{}
	err := g.hub.look(everything, func(p pictured) error {
		health = g.hub.healthIn(p)
		sites, walls, doubts = len(p.Sites()), len(p.Walls("")), len(p.hub.Doubts)
		for _, a := range p.alarms("", false) {
			alerts[a.Priority]++
		}
		return nil
	})
	if err != nil {
		ch <- prometheus.NewInvalidMetric(gaugeOK, err)
		return
	}
	for _, m := range []struct {
		desc  *prometheus.Desc
		value float64
	}{
		{gaugeOK, flag(health.OK)}, {gaugeThrough, float64(health.Through)}, {gaugeLevel, flag(health.Level)},
		{gaugeShort, flag(health.Short)}, {gaugeHoles, float64(health.Holes)}, {gaugeDoubts, float64(doubts)},
		{gaugeSites, float64(sites)}, {gaugeWalls, float64(walls)},
	} {
		ch <- prometheus.MustNewConstMetric(m.desc, prometheus.GaugeValue, m.value)
	}
	for _, priority := range []string{scheduler.Urgent, scheduler.High, scheduler.Medium, scheduler.Low} {
		ch <- prometheus.MustNewConstMetric(gaugeAlerts, prometheus.GaugeValue, float64(alerts[priority]), priority)
	}
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
