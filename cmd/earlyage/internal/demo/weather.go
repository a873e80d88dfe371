package demo

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"earlyage/events"
	"earlyage/scheduler/concrete"
	"earlyage/testdata/weather"
)

const (
	readingEvery = 15 * time.Minute
	seriesEvery  = 30 * time.Minute // of a probe in a wall: it must not seem silent
	airEvery     = time.Hour
)

// airOf gives the air of a site at a moment, in °C.
func airOf(site *siteScript, year *weather.Year, at time.Time) float64 {
	return year.Celsius(at.In(site.zone)) + site.shiftK
}

func (f *file) readProbe(w []string, _ options) error {
	from, until, err := f.between(w[3], w[4])
	if err != nil {
		return err
	}
	return f.series(w[0], w[1], w[2], from, until, seriesEvery)
}

func (f *file) readAir(w []string, _ options) error {
	from, until, err := f.between(w[1], w[2])
	if err != nil {
		return err
	}
	return f.series(w[0], "air", "", from, until, airEvery)
}

// series adds an entry for each series of readings. Values come later, when all
// of the script is known: the pairs say only from when to when.
func (f *file) series(device, place, wall string, from, until time.Time, every time.Duration) error {
	d, err := f.device(device)
	if err != nil {
		return err
	}
	for at := from; at.Before(until); at = at.Add(every) {
		last := at.Add(every - readingEvery)
		if last.After(until) {
			last = until
		}
		f.entries = append(f.entries, entry{
			at: last.Add(time.Minute), device: d.deviceKey, kind: readings, wall: wall, order: len(f.entries),
			pairs: []string{place, at.Format(time.RFC3339), last.Format(time.RFC3339)},
		})
	}
	return nil
}

func (f *file) readForecast(w []string, o options) (err error) {
	d, err := f.device(w[0])
	if err != nil {
		return err
	}
	first, last, err := f.between(w[1]+"@"+w[3], w[2]+"@"+w[3])
	if err != nil {
		return err
	}
	for at := first; !at.After(last); at = at.AddDate(0, 0, 1) {
		f.entries = append(f.entries, entry{
			at: at, device: d.deviceKey, kind: forecast, order: len(f.entries), pairs: []string{o["hours"]},
		})
	}
	return nil
}

// Entries whose data the demo makes.
const (
	readings = "readings"
	forecast = "forecast"
)

// climate makes readings and forecasts.
type climate struct {
	year  *weather.Year
	walls map[[2]string]concrete.HeatHistory
}

func newClimate(s *script) (*climate, error) {
	year, err := weather.Normals()
	if err != nil {
		return nil, err
	}
	c := &climate{year: year, walls: map[[2]string]concrete.HeatHistory{}}
	for name, site := range s.sites {
		for wall, made := range site.concrete {
			h, err := c.history(site, made, s.end)
			if err != nil {
				return nil, fmt.Errorf("predict %s/%s: %w", name, wall, err)
			}
			c.walls[[2]string{name, wall}] = h
		}
	}
	return c, nil
}

func (c *climate) history(site *siteScript, made concreteScript, end time.Time) (concrete.HeatHistory, error) {
	mix, err := concrete.NewHeatMix(concrete.Binder{Cement: concrete.ReferenceCement(), WaterBinder: made.ratio}, made.cement)
	if err != nil {
		return concrete.HeatHistory{}, err
	}
	hours := math.Ceil(end.Sub(made.placed).Hours()) + 1
	var beside concrete.Series
	for h := 0.0; h <= hours; h++ {
		at := made.placed.Add(time.Duration(h) * time.Hour)
		beside = append(beside, concrete.Reading{Hours: h, TempC: airOf(site, c.year, at)})
	}
	air, err := concrete.AirSeries(beside)
	if err != nil {
		return concrete.HeatHistory{}, err
	}
	form, known := map[string]float64{"insulating": concrete.FormFoam64, "plywood": concrete.FormPlywood19}[made.form]
	if !known {
		return concrete.HeatHistory{}, errors.New("unknown form " + made.form)
	}
	face := concrete.Face{Form: form, Film: concrete.FilmBreeze, Air: air}
	section := concrete.Section{Mix: mix, Thickness: made.coreM, Inner: face, Outer: face}
	return section.Nodal(concrete.HeatRun{Start: made.fresh, Hours: hours, Every: readingEvery.Hours()}, 15)
}

// celsius is what a sensor at a place reads, to a tenth of a degree.
func (c *climate) celsius(site *siteScript, place, wall string, at time.Time) float64 {
	air := airOf(site, c.year, at)
	if place == "air" {
		return math.Round(air*10) / 10
	}
	made := site.concrete[wall]
	points := c.walls[[2]string{site.name, wall}].Points
	i := int(math.Round(at.Sub(made.placed).Hours() / readingEvery.Hours()))
	core := points[min(max(i, 0), len(points)-1)].Core
	if place == "core" {
		return math.Round(core*10) / 10
	}
	return math.Round((air+float64(made.up*(core-air)))*10) / 10
}

// data gives the data of a made entry.
func (c *climate) data(s *script, e entry) (events.Data, error) {
	site := s.sites[e.device.site]
	if e.kind == forecast {
		return c.forecast(site, e)
	}
	from, errFrom := time.Parse(time.RFC3339, e.pairs[1])
	until, errUntil := time.Parse(time.RFC3339, e.pairs[2])
	if err := errors.Join(errFrom, errUntil); err != nil {
		return nil, err
	}
	d := &events.TemperatureRead{Place: e.pairs[0]}
	for at := from; !at.After(until); at = at.Add(readingEvery) {
		t := c.celsius(site, e.pairs[0], e.wall, at)
		d.Series = append(d.Series, events.TimedTemperature{At: at.UTC(), Celsius: &t})
	}
	return d, nil
}

// gust is what the invented vane and forecast say, in m/s: a wind that rises
// in the afternoon and never reaches the limit.
func gust(at time.Time) float64 {
	byHour := []float64{3, 3, 3, 3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 7, 7, 6, 6, 5, 5, 4, 4, 3, 3}
	return byHour[at.Hour()]
}

func (c *climate) forecast(site *siteScript, e entry) (events.Data, error) {
	n, err := strconv.Atoi(e.pairs[0])
	if err != nil {
		return nil, fmt.Errorf("hours: %w", err)
	}
	d := &events.WeatherForecast{Issued: e.at.UTC(), Origin: "hourly normals, shifted"}
	for h := range n {
		at := e.at.Add(time.Duration(h) * time.Hour)
		celsius, blow := math.Round(airOf(site, c.year, at)*10)/10, gust(at.In(site.zone))
		d.Hours = append(d.Hours, events.ForecastHour{At: at.UTC(), Celsius: &celsius, GustMPS: &blow})
	}
	return d, nil
}

// inOrder sorts entries by time, then as written.
func inOrder(entries []entry) []entry {
	out := slices.Clone(entries)
	slices.SortStableFunc(out, func(a, b entry) int {
		if d := a.at.Compare(b.at); d != 0 {
			return d
		}
		return a.order - b.order
	})
	return out
}
