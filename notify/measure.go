package notify

import (
	"cmp"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.etcd.io/bbolt"

	"earlyage/notify/desk"
	"earlyage/notify/notice"
)

const (
	measuredFor = 30 * 24 * time.Hour
	perWindow   = 10 * time.Minute // in which a reader's messages are counted
)

// measure counts for a watcher outside the hub, since the start.
type measure struct {
	known, raised, told, reached, shown, acknowledged prometheus.Histogram
	messages                                          *prometheus.CounterVec
	delay                                             func(kind string) time.Duration
}

func newMeasure(delay func(kind string) time.Duration) *measure {
	histogram := func(name, help string, buckets ...float64) prometheus.Histogram {
		return prometheus.NewHistogram(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets})
	}
	return &measure{
		delay:        delay,
		known:        histogram("earlyage_alert_known_seconds", "From the condition to when the record had what it rests on: how late it was entered or forecast.", 1, 2, 5, 15, 30, 60, 120, 300, 600, 1800, 3600, 14400, 86400),
		raised:       histogram("earlyage_alert_raised_seconds", "From when the condition was known, and had held for as long as its kind asks for, to its alert in the stream.", .05, .1, .25, .5, 1, 2, 5, 15, 30, 60, 120, 300, 600, 1800),
		reached:      histogram("earlyage_alert_reached_seconds", "From the condition to the first channel that accepted its alert, of what was known in time.", .05, .1, .25, .5, 1, 2, 5, 10, 30, 60, 300, 600),
		told:         histogram("earlyage_alert_told_seconds", "From the alert in the stream to the first channel that accepted it.", .05, .1, .25, .5, 1, 2, 5, 10, 30, 60, 300, 600),
		shown:        histogram("earlyage_alert_shown_seconds", "From the alert in the stream to the first page that showed it.", .5, 1, 2, 5, 15, 30, 60, 120, 300, 600, 1800),
		acknowledged: histogram("earlyage_alert_acknowledged_seconds", "From the alert in the stream to its acknowledgement.", 5, 15, 30, 60, 120, 300, 600, 1800, 3600),
		messages: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "earlyage_messages_total", Help: "Tries to send a message, by channel and what came of it: done, again, refused.",
		}, []string{"channel", "outcome"}),
	}
}

func (m *measure) sent(channel string, r desk.Result) {
	m.messages.WithLabelValues(channel, string(r.Outcome)).Inc()
}

// mark takes the moments of a case over, and counts those that are new.
func (m *measure) mark(had marks, c desk.Case) marks {
	if c.Of != desk.OfAlert || c.Retired || c.Notice.State != notice.Raised {
		return had
	}
	has := marks{Since: c.Notice.Since, Known: c.Notice.Known, Raised: c.Notice.Recorded, Told: c.Accepted, Shown: c.Shown, Acknowledged: c.Acknowledged}
	if has.Known.IsZero() {
		has.Known = has.Since
	}
	has.Held = has.Since.Add(m.delay(c.Notice.Kind))
	if had.Told.IsZero() && !has.Told.IsZero() && has.inTime() {
		m.reached.Observe(passed(has.Held, has.Told).Seconds())
	}
	for _, o := range []struct {
		h             prometheus.Histogram
		before, begin time.Time
		end           time.Time
	}{
		{m.known, had.Raised, has.Since, has.Known},
		{m.raised, had.Raised, has.owed(), has.Raised}, {m.told, had.Told, has.Raised, has.Told},
		{m.shown, had.Shown, has.Raised, has.Shown}, {m.acknowledged, had.Acknowledged, has.Raised, has.Acknowledged},
	} {
		if o.before.IsZero() && !o.end.IsZero() {
			o.h.Observe(passed(o.begin, o.end).Seconds())
		}
	}
	return has
}

// inTime reports whether nothing that the alert rests on came late.
func (m marks) inTime() bool { return !m.Known.After(m.Since.Add(promptly)) }

// owed is from when on the alert was due.
func (m marks) owed() time.Time { return latest(m.Known, m.Held) }

// promptly is how much later than the condition it may be known: a message takes
// its time.
const promptly = time.Second

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

// passed is never negative: the two moments may be of two clocks.
func passed(begin, end time.Time) time.Duration { return max(0, end.Sub(begin)) }

// Spread is how long something took.
type Spread struct {
	Count         int
	P50, P99, Max time.Duration
}

func spreadOf(all []time.Duration) (s Spread) {
	if s.Count = len(all); s.Count == 0 {
		return s
	}
	slices.Sort(all)
	// The least of the values that so many do not exceed.
	at := func(hundredths int) time.Duration { return all[(len(all)*hundredths+99)/100-1] }
	return Spread{s.Count, at(50), at(99), all[len(all)-1]}
}

// Measures is how fast and how much was told of the alerts of a time.
type Measures struct {
	From, To     time.Time
	Known        Spread // from the condition to when the record had what it rests on: no hub is faster
	Raised       Spread // from there, or from when it had held for as long as its kind asks for, to the alert in the stream
	Told         Spread // from there to the first channel that accepted it
	Reached      Spread // of what was known in time: from the condition, held for that long, to the first channel
	Shown        Spread // to the first page that showed it
	Acknowledged Spread

	Reader string  // who was told of most alerts within 10 minutes; one told by several channels is one, and so is a summary
	Most   int     // how many that were
	Mean   float64 // of the reader who was told of most in all: in 10 minutes of the time
}

// Measured is Between for the last 30 days.
func (e *Engine) Measured() (Measures, error) {
	now := e.cfg.Clock.Now()
	return e.Between(now.Add(-measuredFor), now)
}

// Between measures the alerts recorded, and the messages accepted, from one moment
// to another. It reads the ledger, so that a restart loses nothing.
func (e *Engine) Between(from, to time.Time) (Measures, error) {
	m := Measures{From: from, To: to}
	within := func(t time.Time) bool { return !t.Before(from) && !t.After(to) }
	var known, raised, told, reached, shown, acknowledged []time.Duration
	tellings := map[string]map[string]time.Time{}
	err := e.cfg.Ledger.View(func(b *bbolt.Bucket) error {
		if err := eachRow(b.Bucket(caseBucket), ignore, func(_ string, row caseRow) {
			k := row.Marks
			if !within(k.Raised) {
				return
			}
			if k.Known.IsZero() { // a row of the time before it was looked at
				k.Known, k.Held = k.Since, k.Since
			}
			known, raised = append(known, passed(k.Since, k.Known)), append(raised, passed(k.owed(), k.Raised))
			if k.inTime() {
				reached = since(reached, k.Held, k.Told)
			}
			told, shown, acknowledged = since(told, k.Raised, k.Told), since(shown, k.Raised, k.Shown), since(acknowledged, k.Raised, k.Acknowledged)
		}); err != nil {
			return err
		}
		return eachRow(b.Bucket(letterBucket), ignore, func(_ string, row letterRow) {
			if l := row.Letter; outcomeOf(l) == accepted && within(l.Ended) {
				note(tellings, l)
			}
		})
	})
	m.Known, m.Reached = spreadOf(known), spreadOf(reached)
	m.Raised, m.Told, m.Shown, m.Acknowledged = spreadOf(raised), spreadOf(told), spreadOf(shown), spreadOf(acknowledged)
	m.count(tellings)
	return m, err
}

func ignore(string, error) {} // Open has said which rows are damaged

func since(all []time.Duration, begin, end time.Time) []time.Duration {
	if end.IsZero() {
		return all
	}
	return append(all, passed(begin, end))
}

// note notes when a person was told of an alert, by whichever channel was first.
func note(tellings map[string]map[string]time.Time, l desk.Letter) {
	if l.What != desk.TellRaised && (l.What != desk.TellSummary || l.Of != desk.TellRaised) {
		return
	}
	if tellings[l.Person] == nil {
		tellings[l.Person] = map[string]time.Time{}
	}
	what := cmp.Or(l.Case, l.ID)
	if at, ok := tellings[l.Person][what]; !ok || l.Ended.Before(at) {
		tellings[l.Person][what] = l.Ended
	}
}

func (m *Measures) count(tellings map[string]map[string]time.Time) {
	windows := max(1, float64(m.To.Sub(m.From))/float64(perWindow))
	for person, whats := range tellings {
		if n := busiest(whats); n > m.Most || n == m.Most && person < m.Reader {
			m.Reader, m.Most = person, n
		}
		m.Mean = max(m.Mean, float64(len(whats))/windows)
	}
}

// busiest is the most that came within 10 minutes.
func busiest(whats map[string]time.Time) (most int) {
	var times []time.Time
	for _, t := range whats {
		times = append(times, t)
	}
	slices.SortFunc(times, time.Time.Compare)
	first := 0
	for i, t := range times {
		for t.Sub(times[first]) >= perWindow {
			first++
		}
		most = max(most, i-first+1)
	}
	return most
}

var (
	gaugeUndelivered = prometheus.NewDesc("earlyage_messages_undelivered", "Messages of alerts that are still told, which no channel accepted: tried again, or failed for good.", nil, nil)
	gaugeCases       = prometheus.NewDesc("earlyage_cases_open", "Alerts and sheets of which something is still to be told.", nil, nil)
	gaugeBusiest     = prometheus.NewDesc("earlyage_reader_alerts", "Alerts that the busiest reader was told of in the last 10 minutes; a summary is one.", nil, nil)
)

// Describe implements prometheus.Collector.
func (e *Engine) Describe(ch chan<- *prometheus.Desc) {
	for _, c := range e.measure.collectors() {
		c.Describe(ch)
	}
	for _, d := range []*prometheus.Desc{gaugeUndelivered, gaugeCases, gaugeBusiest} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (e *Engine) Collect(ch chan<- prometheus.Metric) {
	for _, c := range e.measure.collectors() {
		c.Collect(ch)
	}
	e.mu.RLock()
	cases, undelivered := len(e.cases), 0
	letters := make([]desk.Letter, 0, len(e.letters))
	for _, row := range e.letters {
		if isUndelivered(row.Letter) {
			undelivered++
		}
		letters = append(letters, row.Letter)
	}
	e.mu.RUnlock()
	most := 0
	for _, n := range desk.Rates(letters, e.cfg.Clock.Now()) {
		most = max(most, n)
	}
	for d, v := range map[*prometheus.Desc]int{gaugeUndelivered: undelivered, gaugeCases: cases, gaugeBusiest: most} {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, float64(v))
	}
}

func (m *measure) collectors() []prometheus.Collector {
	return []prometheus.Collector{m.known, m.raised, m.told, m.reached, m.shown, m.acknowledged, m.messages}
}
