package demo

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
	"time"

	"earlyage/scheduler/checks"
)

// script is what the files say, in order of file and line.
type script struct {
	sites     map[string]*siteScript
	people    []personScript
	devices   map[deviceKey]*deviceScript
	entries   []entry
	live, end time.Time // live: how far it is played at once; the rest while people look on
}

func newScript() *script {
	return &script{sites: map[string]*siteScript{}, devices: map[deviceKey]*deviceScript{}}
}

type deviceKey struct{ site, device string }

func (k deviceKey) String() string { return k.site + "/" + k.device }

type siteScript struct {
	name     string
	zone     *time.Location
	shiftK   float64
	concrete map[string]concreteScript
}

type concreteScript struct {
	placed                          time.Time
	fresh, cement, ratio, coreM, up float64 // up: where the top lies between air (0) and core (1)
	form                            string
}

type deviceScript struct {
	deviceKey
	sort          string    // phone, station or probe
	person        string    // whose phone it is
	wall          string    // of a probe: the only one that it may speak of; empty: any
	joins         time.Time // zero: before the first entry of its site
	offline, back time.Time // no signal between the two; zero: always one
	twice         bool
	silent        bool          // nobody looks at it
	answers       time.Duration // its person acknowledges what is urgent so long after it was shown; zero: never
}

// entry is one event to come, its values still text.
type entry struct {
	at         time.Time
	device     deviceKey
	by         string
	kind, wall string // wall empty: the site
	pairs      []string
	label      string
	say        string // what is written as it is sent
	order      int    // of the line, among entries of one moment
}

// load reads every script of a folder.
func load(scripts fs.FS) (*script, error) {
	s := newScript()
	files, err := fs.Glob(scripts, "*.txt")
	if err != nil || len(files) == 0 {
		return nil, errors.Join(errors.New("read demo scripts: no file"), err)
	}
	for _, name := range files {
		text, err := fs.ReadFile(scripts, name)
		if err != nil {
			return nil, fmt.Errorf("read demo script: %w", err)
		}
		if err := s.read(string(text)); err != nil {
			return nil, fmt.Errorf("read demo script %s %w", name, err)
		}
	}
	if s.end.IsZero() {
		return nil, errors.New("read demo scripts: no end")
	}
	if s.live.IsZero() {
		s.live = s.end
	}
	return s, s.enrol()
}

func (s *script) read(text string) error {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord, r.TrimLeadingSpace = ' ', '#', -1, true
	lines, err := r.ReadAll()
	if err != nil {
		return fmt.Errorf("split: %w", err)
	}
	file := &file{script: s}
	for _, words := range lines {
		if err := file.line(words); err != nil {
			return fmt.Errorf("%q: %w", strings.Join(words, " "), err)
		}
	}
	return nil
}

// file is one script while it is read.
type file struct {
	*script
	site *siteScript
}

var dated = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)

var errShort = errors.New("too few words")

func (f *file) line(words []string) error {
	if words[0] != "site" && f.site == nil {
		return errors.New("before the site")
	}
	if dated.MatchString(words[0]) {
		return f.event(words)
	}
	lines := map[string]struct {
		least int
		read  func(words []string, options options) error
	}{
		"site": {2, f.readSite}, "person": {3, f.readPerson}, "device": {2, f.readDevice}, "offline": {3, f.readOffline},
		"lost": {3, f.readLost}, "tries": {5, f.readTries}, "look": {4, f.readLook},
		"concrete": {2, f.readConcrete}, "probe": {5, f.readProbe}, "air": {3, f.readAir},
		"forecast": {4, f.readForecast}, "checks": {4, f.readChecks}, "live": {1, f.readLive}, "end": {1, f.readEnd},
	}
	line, known := lines[words[0]]
	if !known {
		return errors.New("unknown line")
	}
	plain, opts := split(words[1:])
	if len(plain) < line.least {
		return errShort
	}
	return line.read(plain, opts)
}

type options map[string]string

func split(words []string) (plain []string, opts options) {
	opts = options{}
	for _, w := range words {
		if key, value, ok := strings.Cut(w, "="); ok {
			opts[key] = value
		} else {
			plain = append(plain, w)
		}
	}
	return plain, opts
}

func (o options) number(key string, into *float64, err *error) {
	v, bad := strconv.ParseFloat(o[key], 64)
	if bad != nil && *err == nil {
		*err = fmt.Errorf("%s: %w", key, bad)
	}
	*into = v
}

func (f *file) readSite(w []string, o options) (err error) {
	zone, err := time.LoadLocation(w[1])
	if err != nil {
		return err
	}
	f.site = &siteScript{name: w[0], zone: zone, concrete: map[string]concreteScript{}}
	if o["shift"] != "" {
		o.number("shift", &f.site.shiftK, &err)
	}
	f.sites[w[0]] = f.site
	return err
}

func (f *file) device(name string) (*deviceScript, error) {
	d, ok := f.devices[deviceKey{f.site.name, name}]
	if !ok {
		return nil, fmt.Errorf("unknown device %q", name)
	}
	return d, nil
}

func (f *file) readOffline(w []string, _ options) error {
	d, err := f.device(w[0])
	if err != nil {
		return err
	}
	d.twice = len(w) > 3 && w[3] == "twice"
	d.offline, d.back, err = f.between(w[1], w[2])
	return err
}

func (f *file) readConcrete(w []string, o options) (err error) {
	c := concreteScript{form: o["form"]}
	var mm float64
	o.number("fresh", &c.fresh, &err)
	o.number("cement", &c.cement, &err)
	o.number("ratio", &c.ratio, &err)
	o.number("core_mm", &mm, &err)
	o.number("top", &c.up, &err)
	if err != nil {
		return err
	}
	c.coreM = mm / 1000
	c.placed, err = f.moment(w[1], "")
	f.site.concrete[w[0]] = c
	return err
}

// readChecks answers a check list: each item that asks for a number with one
// that is allowed, the other stop items with yes, the rest under one signature.
func (f *file) readChecks(w []string, _ options) error {
	d, err := f.device(w[0])
	if err != nil {
		return err
	}
	at, err := f.moment(w[3], "")
	if err != nil {
		return err
	}
	list := w[2]
	items := checks.Items(list, nil)
	if len(items) == 0 {
		return fmt.Errorf("unknown list %q", list)
	}
	answer := func(item string, more ...string) {
		f.entries = append(f.entries, entry{
			at: at, device: d.deviceKey, by: d.person, kind: "check.answered", wall: w[1], order: len(f.entries),
			pairs: append([]string{"list=" + list, "item=" + item, "answer=yes"}, more...),
		})
	}
	for i := range items {
		switch it := &items[i]; {
		case it.Asks() && it.Most != nil:
			answer(it.ID, fmt.Sprintf("value=%g", *it.Most))
		case it.Asks():
			answer(it.ID, fmt.Sprintf("value=%g", *it.Least))
		case it.Stop:
			answer(it.ID)
		}
	}
	answer(checks.Rest)
	return nil
}

func (f *file) readLive(w []string, _ options) (err error) {
	f.live, err = f.moment(w[0], "")
	return err
}

func (f *file) readEnd(w []string, _ options) (err error) {
	f.end, err = f.moment(w[0], "")
	return err
}

// moment reads DATE@TIME, or @TIME on the day given.
func (f *file) moment(text, day string) (time.Time, error) {
	if strings.HasPrefix(text, "@") {
		text = day + text
	}
	return time.ParseInLocation("2006-01-02@15:04", text, f.site.zone)
}

func (f *file) between(from, until string) (a, b time.Time, err error) {
	if a, err = f.moment(from, ""); err != nil {
		return a, b, err
	}
	if b, err = f.moment(until, ""); err == nil && b.Sub(a) > longest {
		err = fmt.Errorf("%s to %s is over %.0f days", from, until, longest.Hours()/24)
	}
	return a, b, err
}

// longest is how long a script may go on: a longer time is a slip of the pen.
const longest = 100 * 24 * time.Hour

// event reads DATE TIME DEVICE KIND WALL|- key=value ...
func (f *file) event(w []string) error {
	e, err := f.entry(w)
	if err != nil {
		return err
	}
	f.entries = append(f.entries, e)
	return nil
}

func (f *file) entry(w []string) (e entry, err error) {
	if len(w) < 5 {
		return e, errShort
	}
	e = entry{order: len(f.entries), kind: w[3], wall: w[4]}
	if e.at, err = f.moment(w[0]+"@"+w[1], ""); err != nil {
		return e, err
	}
	d, err := f.device(w[2])
	if err != nil {
		return e, err
	}
	e.device, e.by = d.deviceKey, d.person
	if e.wall == "-" {
		e.wall = ""
	}
	for _, pair := range w[5:] {
		key, value, ok := strings.Cut(pair, "=")
		switch {
		case !ok:
			return e, fmt.Errorf("%q is no key=value", pair)
		case key == "as":
			e.label = value
			continue
		case key == "say":
			e.say = value
			continue
		case strings.Contains(value, "@"):
			at, err := f.moment(value, w[0])
			if err != nil {
				return e, err
			}
			value = at.Format(time.RFC3339)
		}
		e.pairs = append(e.pairs, key+"="+value)
	}
	return e, nil
}
