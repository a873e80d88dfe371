package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type coldCmd struct {
	output
	Air         q[temperature] `placeholder:"-5C" names:"air temperature" help:"Lowest air, measured or forecast."`
	Core        q[thickness]   `placeholder:"200mm" names:"least dimension of the section" help:"Least dimension of the section."`
	Placed      q[temperature] `placeholder:"12C" names:"concrete temperature" help:"Temperature of the concrete as placed: is it warm enough?"`
	Wall        q[temperature] `placeholder:"25C" names:"concrete temperature" help:"Temperature of the wall when protection comes off: is the drop too great?"`
	Service     string         `enum:"not-loaded,exposed,partly-loaded,fully-loaded" default:"exposed" placeholder:"SERVICE" help:"not-loaded, exposed (to freezing, not loaded), partly-loaded or fully-loaded."`
	Accelerated bool           `help:"Type III cement, 60 kg/m³ more cement, or an accelerator."`
	history     `embed:""`
	ruleFlags
	Fck  q[strength] `placeholder:"25MPa" names:"characteristic strength fck" help:"With --temps: strength by EN 1992 at the first frost."`
	Need q[strength] `default:"3.5MPa" names:"strength needed before frost" help:"Strength before which the wall must not freeze."`
}

// Run implements the command.
func (c *coldCmd) Run(k *kong.Context, w io.Writer) error { return c.output.run(k, w, c.work) }

func (c *coldCmd) work(sys unit.System) (*answer, error) {
	a := &answer{
		title: "Cold weather", status: fromMemory,
		source:  "ACI 306R Tables 3.1, 5.1 and 7.1 (from memory); definition of ACI 306R-16 found (engineerfix.com, secondary)",
		valid:   "section 0.05 to 10 m; air -60 to 60 °C; a page that gives 10 °C for thin sections contradicts the 13 °C of the table: 13 is the safe one",
		caution: "The top of a wall and the bucks of its openings are colder than its middle: measure there. A wall that freezes before 3.5 MPa can lose half of its strength.",
	}
	if !c.Air.given() && !c.Core.given() && !c.history.given() {
		return nil, wanted("air", "-5C, or --core 200mm, or --temps FILE")
	}
	for _, part := range []func(*answer, unit.System) error{c.definition, c.limits, c.protection, c.frost} {
		if err := part(a, sys); err != nil {
			return nil, err
		}
	}
	return a, nil
}

func (c *coldCmd) definition(a *answer, sys unit.System) error {
	if !c.Air.given() {
		return nil
	}
	cold, err := concrete.ColdWeather(c.Air.base)
	if err != nil {
		return err
	}
	a.add(says("cold-weather", map[bool]string{true: "yes", false: "no"}[cold]))
	a.work(fmt.Sprintf("cold weather: the air has fallen, or is expected to fall, to %s; lowest %s", celsius(concrete.ColdWeatherC, sys), celsius(c.Air.base, sys)))
	return nil
}

// limits are the temperatures for the section.
func (c *coldCmd) limits(a *answer, sys unit.System) error {
	if !c.Core.given() {
		if c.Placed.given() || c.Wall.given() {
			return wanted("core", "200mm")
		}
		return nil
	}
	l, err := concrete.LimitsForSection(c.Core.base)
	if err != nil {
		return err
	}
	a.add(value("least-placed", inTemperature, l.PlacedC).with("as placed and maintained"),
		value("most-placed", inTemperature, l.PlacedC+concrete.MaxAboveMinimumK).with("about 11 K above it"),
		value("greatest-drop", inDifference, l.MaxDrop24h.Kelvin()).with("in the 24 h after protection ends"))
	a.work(fmt.Sprintf("section of %s: least %s as placed; greatest drop %s, a difference: no 32 is added to it in °F",
		inThickness.format(c.Core.base, sys), celsius(l.PlacedC, sys), inDifference.format(l.MaxDrop24h.Kelvin(), sys)))
	if c.Air.given() {
		mixed, err := l.AsMixedC(c.Air.base)
		if err != nil {
			return err
		}
		a.add(value("least-as-mixed", inTemperature, mixed).with("at that air"))
	}
	if err := c.placedVerdict(a, l, sys); err != nil {
		return err
	}
	return c.uncovering(a, l, sys)
}

func (c *coldCmd) placedVerdict(a *answer, l concrete.SectionLimits, sys unit.System) error {
	if !c.Placed.given() {
		return nil
	}
	v, err := l.JudgePlaced(c.Placed.base)
	if err != nil {
		return err
	}
	a.add(says("placed", map[concrete.PlacedVerdict]string{
		concrete.PlacedOK: "warm enough", concrete.PlacedTooCold: "too cold", concrete.PlacedTooWarm: "warmer than need be",
	}[v]))
	a.work(fmt.Sprintf("placed at %s against a least of %s", celsius(c.Placed.base, sys), celsius(l.PlacedC, sys)))
	return nil
}

func (c *coldCmd) uncovering(a *answer, l concrete.SectionLimits, sys unit.System) error {
	if !c.Wall.given() {
		return nil
	}
	if !c.Air.given() {
		return wanted("air", "-5C")
	}
	drop, much, err := l.DropOnUncovering(c.Wall.base, c.Air.base)
	if err != nil {
		return err
	}
	a.add(value("drop-on-uncovering", inDifference, drop.Kelvin()), says("uncovering", map[bool]string{true: "too great a drop", false: "within the limit"}[much]))
	a.work(fmt.Sprintf("wall %s, air %s: a drop of %s against %s", celsius(c.Wall.base, sys), celsius(c.Air.base, sys),
		inDifference.format(drop.Kelvin(), sys), inDifference.format(l.MaxDrop24h.Kelvin(), sys)))
	return nil
}

func (c *coldCmd) protection(a *answer, sys unit.System) error {
	if !c.Core.given() {
		return nil
	}
	service := map[string]concrete.Service{
		"not-loaded": concrete.NotLoadedNotExposed, "exposed": concrete.NotLoadedExposed,
		"partly-loaded": concrete.PartlyLoadedExposed, "fully-loaded": concrete.FullyLoaded,
	}[c.Service]
	hours, given, err := concrete.ProtectionHours(service, c.Accelerated)
	if err != nil {
		return err
	}
	if !given {
		a.add(says("protection", "by strength only"))
		return nil
	}
	a.add(value("protection", inDuration, hours).with(spaced(c.Service)))
	a.work(fmt.Sprintf("protection period, %s, accelerated: %v: %s", spaced(c.Service), c.Accelerated, inDuration.format(hours, sys)))
	return nil
}

// frost looks through a temperature history of the coldest place of the wall.
func (c *coldCmd) frost(a *answer, sys unit.System) error {
	if !c.history.given() {
		return nil
	}
	s, err := c.read(0)
	if err != nil {
		return err
	}
	a.work(s.told(sys))
	for _, w := range []struct {
		name  string
		hours float64
		most  float64
	}{{"greatest-fall-1h", 1, concrete.MaxCoolingPerHourK}, {"greatest-fall-24h", 24, concrete.MaxCoolingPerDayK}} {
		drop, at, err := s.GreatestDrop(w.hours)
		if err != nil {
			return err
		}
		a.add(value(w.name, inDifference, drop.Kelvin()).with(fmt.Sprintf("complete at %s; allowed %s (found: UFGS)", s.moment(at), inDifference.format(w.most, sys))))
	}
	at, frozen, err := s.FirstAtOrBelow(concrete.FreezingC)
	if err != nil {
		return err
	}
	if !frozen {
		a.add(says("first-frost", "never within the history"))
		return nil
	}
	a.add(value("first-frost", inDuration, at).with(s.date(at)))
	return c.strengthAtFrost(a, s, sys)
}

func (c *coldCmd) strengthAtFrost(a *answer, s story, sys unit.System) error {
	if !c.Fck.given() {
		a.note("Without --fck nothing is said of the strength at the first frost.")
		return nil
	}
	m, err := c.maturity()
	if err != nil {
		return err
	}
	f, err := concrete.FirstFreeze(s.Series, m, concrete.EN1992{FckMPa: c.Fck.base, Class: concrete.ClassN}, c.Need.base)
	if err != nil {
		return err
	}
	a.add(value("strength-at-first-frost", inStrength, f.MPa), says("frost", map[bool]string{true: "harmful", false: "after the strength needed"}[f.Harmful]))
	a.work(fmt.Sprintf("counted age by %s, mean strength by EN 1992 class N (from memory): %s at the first frost, %s needed", m.Name(),
		inStrength.format(f.MPa, sys), inStrength.format(c.Need.base, sys)))
	a.note("EN 1992 gives no strength below 3 d: this is the formula carried on. Field-cured specimens decide.")
	return nil
}
