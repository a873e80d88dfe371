package calc

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// history is how a subcommand is told of temperature: a file, or one
// temperature for some time.
type history struct {
	Temps     string         `placeholder:"FILE" help:"CSV of time and temperature: hours since the start, or RFC 3339; steps as uneven as they come; a head is optional."`
	TempsUnit string         `name:"temps-unit" enum:",C,F" default:"" placeholder:"C|F" help:"Unit of bare temperatures in the file; C if nothing says otherwise."`
	Temp      q[temperature] `placeholder:"10C" names:"temperature|concrete temperature" help:"In place of a file, a constant temperature."`
	For       q[duration]    `placeholder:"48h" names:"time of reading" help:"How long that temperature lasts."`
}

// story is a temperature history that was read. Hours count from its first
// reading.
type story struct {
	concrete.Series
	start time.Time // of the first reading; zero if the file counts hours
	lines []int     // of the readings in the file; nil if there is none
}

func (h history) given() bool { return h.Temps != "" || h.Temp.given() }

// read gives the history; usual is how long a constant temperature lasts where
// --for does not say, 0 if it must.
func (h history) read(usual float64) (story, error) {
	switch {
	case h.Temps != "" && h.Temp.given():
		return story{}, &InputError{Flag: "temp", Value: h.Temp.text, Reason: "allowed: either --temps or --temp"}
	case h.Temps != "":
		return readTemps("temps", h.Temps, h.TempsUnit)
	case !h.Temp.given():
		return story{}, wanted("temps", "FILE, or --temp 10C --for 48h")
	case usual == 0 && !h.For.given():
		return story{}, wanted("for", "48h")
	case h.For.given() && h.For.base <= 0:
		return story{}, &InputError{Flag: "for", Value: h.For.text, Reason: "allowed: more than 0 h"}
	}
	s := concrete.Series{{Hours: 0, TempC: h.Temp.base}, {Hours: h.For.or(usual), TempC: h.Temp.base}}
	return story{Series: s}, s.Validate()
}

// blame names the history's flag where what was computed along it was refused.
func (h history) blame(err error) error {
	var out concrete.RangeError
	switch {
	case !errors.As(err, &out):
		return err
	case h.Temps != "":
		return &InputError{Flag: "temps", Value: h.Temps, Reason: err.Error(), cause: err}
	case h.For.given():
		return &InputError{Flag: "for", Value: h.For.text, Reason: err.Error(), cause: err}
	}
	return &InputError{Flag: "temp", Value: h.Temp.text, Reason: err.Error(), cause: err}
}

var timeWords = []string{"time", "date", "datetime", "timestamp", "at", "hours", "hour", "h"}
var temperatureWords = []string{"temperature", "temp", "celsius", "fahrenheit"}

// readTemps reads a file of time and temperature.
func readTemps(flag, file, bare string) (story, error) {
	s, err := readCSV(flag, file)
	if err != nil {
		return story{}, err
	}
	at, warm := s.column(0, timeWords...), s.column(1, temperatureWords...)
	if named := s.headUnit(warm, inTemperature); named != "" {
		a, errA := unit.Parse(unit.Temperature, "1 "+named)
		b, errB := unit.Parse(unit.Temperature, "1 "+bare)
		if bare != "" && (errA != nil || errB != nil || a != b) {
			return story{}, &InputError{Flag: flag + "-unit", Value: bare, Reason: fmt.Sprintf("the head of %s names %s", file, named)}
		}
		bare = named
	}
	if bare == "" {
		bare = "C"
	}
	out, err := s.story(at, warm, bare)
	if err != nil {
		return story{}, &InputError{Flag: flag, Value: file, Reason: err.Error(), cause: err}
	}
	return out, nil
}

func (s sheet) story(at, warm int, bare string) (story, error) {
	var out story
	var clock clock
	for _, r := range s.rows {
		if at >= len(r.cells) {
			return story{}, fmt.Errorf("line %d: no time", r.line)
		}
		hours, err := clock.hours(r.cells[at])
		if err != nil {
			return story{}, fmt.Errorf("line %d: %w", r.line, err)
		}
		c, err := r.cell(warm, inTemperature, bare)
		if err != nil {
			return story{}, err
		}
		if c < concrete.MinFactorC || c > concrete.MaxFactorC {
			return story{}, fmt.Errorf("line %d: temperature %s °C: allowed %s to %s °C", r.line, number(c),
				number(concrete.MinFactorC), number(concrete.MaxFactorC))
		}
		if n := len(out.Series); n > 0 && hours <= out.Series[n-1].Hours {
			return story{}, fmt.Errorf("line %d: time %q does not follow that of line %d", r.line, r.cells[at], out.lines[n-1])
		}
		out.Series, out.lines = append(out.Series, concrete.Reading{Hours: hours, TempC: c}), append(out.lines, r.line)
	}
	if len(out.Series) < 2 {
		return story{}, fmt.Errorf("%d readings: at least two are needed", len(out.Series))
	}
	out.start = clock.first
	return out, out.Validate()
}

// clock reads moments and counts hours from the first. One file counts in one
// way: hours, or moments with their zone.
type clock struct {
	begun bool
	first time.Time // zero: the file counts hours
	zero  float64
}

func (c *clock) hours(text string) (float64, error) {
	h, plain := strconv.ParseFloat(text, 64)
	moment, dated := time.Parse(time.RFC3339, text)
	switch {
	case plain != nil && dated != nil:
		return 0, fmt.Errorf("time %q: neither hours since the start nor RFC 3339, as in 2026-01-31T08:00:00Z", clip(text))
	case plain == nil && (math.IsNaN(h) || math.Abs(h) > 1e6):
		return 0, fmt.Errorf("time %q: allowed -1000000 to 1000000 h", clip(text))
	case c.begun && c.first.IsZero() != (plain == nil):
		return 0, errors.New("hours and dates in one file")
	case !c.begun:
		c.begun, c.zero, c.first = true, h, moment
		return 0, nil
	case plain == nil:
		return h - c.zero, nil
	default:
		return moment.Sub(c.first).Hours(), nil
	}
}

// end is the last hour of the history.
func (s story) end() float64 { return s.Series[len(s.Series)-1].Hours }

// moment writes an hour of the history, with its date where the file has dates.
func (s story) moment(hours float64) string {
	text := decimals(hours, 2) + " h"
	if date := s.date(hours); date != "" {
		text += " (" + date + ")"
	}
	return text
}

// date is an hour of the history as a date in the file's own zone; empty if the
// file has none. It is rounded up to the minute: what may be done from a moment
// on is not said to be sooner.
func (s story) date(hours float64) string {
	if s.start.IsZero() {
		return ""
	}
	return s.start.Add(time.Duration(math.Ceil(hours*60-1e-6)) * time.Minute).Format("2006-01-02 15:04 -07:00")
}

// never says that a rule is not met.
func (s story) never() string {
	if s.lines == nil {
		return "not within " + number(s.end()) + " h"
	}
	return "not by the end of the history"
}

// told says in a line what was read.
func (s story) told(sys unit.System) string {
	least, most := math.Inf(1), math.Inf(-1)
	for _, r := range s.Series {
		least, most = min(least, r.TempC), max(most, r.TempC)
	}
	if s.lines == nil {
		return fmt.Sprintf("constant %s for %s h", inTemperature.format(most, sys), number(s.end()))
	}
	return fmt.Sprintf("%d readings over %s h, %s to %s; hours count from the first", len(s.Series), number(s.end()),
		inTemperature.format(least, sys), inTemperature.format(most, sys))
}
