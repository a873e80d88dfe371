// Package entry reads what a person, or a program of theirs, wants to record:
// key=value words, or a file of JSON lines. What it returns wants only the id
// and numbers that an outbox gives.
package entry

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"earlyage/events"
	"earlyage/scheduler/concrete/unit"
)

// Reader reads entries.
type Reader struct {
	Wall string         // of Args; empty: the whole site
	By   string         // who answers for what names nobody
	Own  bool           // nobody but By may be named: the device is theirs
	Zone *time.Location // of times without an offset; nil: none is allowed
}

// Args reads the data of one event from key=value words. The error is an
// *events.Refusal.
func (r Reader) Args(kind events.Kind, values []string) (events.Event, error) {
	data, err := events.FromArgs(kind, values, events.Args{Location: r.Zone, ParseQuantity: quantity})
	return events.Event{Kind: kind, Wall: r.Wall, By: r.By, Data: data}, err
}

// quantities maps the unit of an event's member to the dimension that people's
// units of it belong to, and to how many of it make the dimension's base unit.
var quantities = map[string]struct {
	dimension unit.Dimension
	inBase    float64
}{
	"m": {unit.Length, 1}, "mm": {unit.Thickness, 1000}, "m³": {unit.Volume, 1}, "l": {unit.Liquid, 1000},
	"h": {unit.Duration, 1}, "min": {unit.Duration, 60}, "m³/h": {unit.Delivery, 1}, "m/s": {unit.Speed, 1},
	"mm/s": {unit.WithdrawalRate, 1000}, "°C": {unit.Temperature, 1}, "kPa": {unit.Pressure, 1}, "MPa": {unit.Strength, 1},
	"kN/m³": {unit.UnitWeight, 1},
}

// quantity reads a value with a unit into the member's own unit, to a millionth
// of it: 4 ft is 1.2192 m and nothing behind it.
func quantity(member, text string) (float64, bool) {
	q, known := quantities[member]
	if !known {
		return 0, false
	}
	base, err := unit.Parse(q.dimension, text)
	if err != nil {
		return 0, false
	}
	return math.Round(base*q.inBase*1e6) / 1e6, true
}

// fileLine is an event as a file gives it.
type fileLine struct {
	SpecVersion     string         `json:"specversion"`
	Type            string         `json:"type"`
	Subject         string         `json:"subject"`
	By              string         `json:"by"`
	Time            time.Time      `json:"time"`
	DataContentType string         `json:"datacontenttype"`
	Data            jsontext.Value `json:"data"`

	// What the outbox gives; here only to say so.
	ID           jsontext.Value `json:"id"`
	Source       jsontext.Value `json:"source"`
	Sequence     jsontext.Value `json:"sequence"`
	WallSequence jsontext.Value `json:"wallsequence"`
	ClockOffset  jsontext.Value `json:"clockoffset"`
	RecordedTime jsontext.Value `json:"recordedtime"`
}

// Lines reads a file of events. If one line is not acceptable, none is returned;
// the error names the line and wraps the *events.Refusal.
func (r Reader) Lines(in io.Reader) ([]events.Event, error) {
	var list []events.Event
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, 2*events.MaxBody)
	n := 1
	for ; lines.Scan(); n++ {
		text := bytes.TrimSpace(lines.Bytes())
		if len(text) == 0 {
			continue
		}
		e, err := r.line(text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		list = append(list, e)
	}
	if errors.Is(lines.Err(), bufio.ErrTooLong) {
		return nil, fmt.Errorf("line %d: %w", n, &events.Refusal{Field: "body", Value: "a longer line", Allowed: fmt.Sprintf("at most %d bytes", events.MaxBody)})
	}
	if lines.Err() == nil && len(list) == 0 {
		return nil, &events.Refusal{Field: "file", Allowed: "an event to a line"}
	}
	return list, lines.Err()
}

func (r Reader) line(text []byte) (events.Event, error) {
	var l fileLine
	if err := json.Unmarshal(text, &l, json.RejectUnknownMembers(true)); err != nil {
		return events.Event{}, &events.Refusal{Field: "body", Value: clip(string(text)), Allowed: "a JSON object with type, subject, by, time and data", Cause: err}
	}
	for _, own := range []struct {
		name  string
		value jsontext.Value
	}{{"id", l.ID}, {"source", l.Source}, {"sequence", l.Sequence}, {"wallsequence", l.WallSequence}, {"clockoffset", l.ClockOffset}, {"recordedtime", l.RecordedTime}} {
		if own.value != nil {
			return events.Event{}, &events.Refusal{Field: own.name, Value: clip(string(own.value)), Allowed: "none: the outbox gives it"}
		}
	}
	kind := events.Kind(strings.TrimSuffix(strings.TrimPrefix(l.Type, "earlyage."), ".v1"))
	e := events.Event{Kind: kind, Wall: l.Subject, By: l.By, Time: l.Time.UTC()}
	if e.By == "" {
		e.By = r.By
	}
	if r.Own && e.By != r.By {
		return e, &events.Refusal{Field: "by", Value: clip(e.By), Allowed: "none, or the person whose device this is"}
	}
	var err error
	e.Data, err = events.DecodeData(kind, l.Data)
	return e, err
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:57], "") + "..."
	}
	return s
}

const nameFile = "device"

// DeviceName gives the name that a folder of outboxes keeps for its device, and
// makes one the first time. It is random: two devices under one name would use
// the same numbers for different events, and the hub would refuse them.
func DeviceName(root string) (string, error) {
	path := filepath.Join(root, nameFile)
	text, err := os.ReadFile(path)
	if err == nil {
		return strings.TrimSpace(string(text)), nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("name of this device: %w", err)
	}
	if err := os.MkdirAll(root, 0o700); err != nil {
		return "", fmt.Errorf("name of this device: %w", err)
	}
	name := "cli-" + strings.ToLower(rand.Text()[:10])
	// Of two processes that come here at once, the first to make the file names the
	// device; the other reads it.
	f, err := os.CreateTemp(root, nameFile+"-*")
	if err != nil {
		return "", fmt.Errorf("name of this device: %w", err)
	}
	_, err = f.WriteString(name + "\n")
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Link(f.Name(), path)
	}
	err = errors.Join(err, os.Remove(f.Name()))
	if errors.Is(err, fs.ErrExist) {
		return DeviceName(root)
	}
	if err != nil {
		return "", fmt.Errorf("name of this device: %w", err)
	}
	return name, nil
}
