package calc

import (
	"fmt"
	"io"

	"github.com/alecthomas/kong"

	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

type vibratorCmd struct {
	output
	Core     q[thickness] `placeholder:"150mm" names:"core thickness" help:"Core of the wall: chooses the group that reaches both faces."`
	Head     q[thickness] `placeholder:"38mm" names:"head diameter" help:"Diameter of the head on hand."`
	Group    q[count]     `placeholder:"1" names:"vibrator group" help:"Vibrator group, 1 to 5."`
	Count    q[count]     `default:"1" names:"vibrators on hand" help:"Vibrators at work, spares left out."`
	Delivery q[delivery]  `placeholder:"7.2m3/h" names:"delivery" help:"Delivery of concrete they must keep up with."`
	Lift     q[length]    `placeholder:"600mm" names:"lift" help:"Lift: gives depth of insertion and time of withdrawal."`
	First    bool         `help:"Nothing lies below the lift."`
}

// Run implements the command.
func (c *vibratorCmd) Run(k *kong.Context, w io.Writer) error { return c.output.run(k, w, c.work) }

// group is the vibrator group that the flags mean.
func (c *vibratorCmd) group(a *answer, sys unit.System) (concrete.VibratorGroup, error) {
	switch {
	case c.Group.given():
		return concrete.VibratorGroupNumber(int(c.Group.base))
	case c.Head.given():
		a.note("Where two groups overlap the lower is taken, which credits the head with less.")
		return concrete.GroupForHead(c.Head.base)
	case c.Core.given():
		fit, err := concrete.VibratorForCore(c.Core.base)
		if err == nil {
			a.add(value("greatest-head", inThickness, fit.HeadMost))
			a.work(fmt.Sprintf("the smallest group whose least radius reaches both faces of a core of %s from its middle (common practice, no source)",
				inThickness.format(c.Core.base, sys)))
		}
		return fit.Group, err
	}
	return concrete.VibratorGroup{}, wanted("core", "150mm, or --head 38mm, or --group 1")
}

func (c *vibratorCmd) work(sys unit.System) (*answer, error) {
	a := &answer{
		title: "Internal vibrators", source: "ACI 309R-96/05 Table 5.1.5 and 7.2 (from memory)", status: fromMemory,
		valid: "heads of 20 to 150 mm; groups overlap; the table gives ranges, so that the answer may be open",
	}
	g, err := c.group(a, sys)
	if err != nil {
		return nil, err
	}
	spacing, err := concrete.InsertionSpacing(g.RadiusLeast)
	if err != nil {
		return nil, err
	}
	a.add(value("group", inCount, float64(g.Number)),
		value("radius-of-action-least", inThickness, g.RadiusLeast), value("radius-of-action-most", inThickness, g.RadiusMost),
		value("spacing", inThickness, spacing).with("between insertions"),
		value("rate-least", inDelivery, g.RateLeast).with("one vibrator"), value("rate-most", inDelivery, g.RateMost).with("one vibrator"))
	a.work(fmt.Sprintf("group %d: head %s to %s, %s to %s", g.Number, inThickness.format(g.HeadLeast, sys), inThickness.format(g.HeadMost, sys),
		inFrequency.format(g.FrequencyLeast, sys), inFrequency.format(g.FrequencyMax, sys)))
	a.work(fmt.Sprintf("spacing = 1.5 · least radius of action = 1.5 · %s = %s", inThickness.format(g.RadiusLeast, sys), inThickness.format(spacing, sys)))
	if err := c.byHead(a); err != nil {
		return nil, err
	}
	if err := c.withdrawal(a, sys); err != nil {
		return nil, err
	}
	if err := c.capacity(a, g, sys); err != nil {
		return nil, err
	}
	a.note("5 to 15 s in one place; vertically; never to move concrete sideways (from memory).")
	return a, nil
}

func (c *vibratorCmd) byHead(a *answer) error {
	if !c.Head.given() {
		return nil
	}
	least, most, err := concrete.InsertionSpacingByHead(c.Head.base)
	if err != nil {
		return err
	}
	a.add(value("spacing-by-head-least", inThickness, least).with("8 diameters, other handbooks"),
		value("spacing-by-head-most", inThickness, most).with("10 diameters"))
	return nil
}

func (c *vibratorCmd) withdrawal(a *answer, sys unit.System) error {
	if !c.Lift.given() {
		return nil
	}
	depth, err := concrete.InsertionDepth(c.Lift.base, !c.First)
	if err != nil {
		return err
	}
	seconds, err := concrete.WithdrawalSeconds(depth)
	if err != nil {
		return err
	}
	a.add(value("depth-of-insertion", inThickness, depth), value("withdrawal", inSeconds, seconds).with("at least"))
	below := " + 150 mm into the layer below"
	if c.First {
		below = ", nothing below"
	}
	a.work(fmt.Sprintf("depth = lift %s%s = %s", inThickness.format(c.Lift.base, sys), below, inThickness.format(depth, sys)))
	a.work(fmt.Sprintf("withdrawal = depth/(75 mm/s) = %s s", decimals(seconds, 1)))
	a.note("The often-quoted 1 ft in 3 s is 100 mm/s, a third faster than 75 mm/s; the slower is taken.")
	return nil
}

func (c *vibratorCmd) capacity(a *answer, g concrete.VibratorGroup, sys unit.System) error {
	if !c.Delivery.given() {
		return nil
	}
	count := int(c.Count.base)
	have, err := concrete.VibratorsKeepUp(g.Number, count, c.Delivery.base)
	if err != nil {
		return err
	}
	verdict := map[concrete.KeepUp]string{
		concrete.CannotKeepUp: "cannot keep up", concrete.MayKeepUp: "may keep up: not at the group's least rate", concrete.KeepsUp: "keeps up",
	}[have.Verdict]
	a.add(says("verdict", verdict), value("capacity-least", inDelivery, have.Least), value("capacity-most", inDelivery, have.Most),
		value("vibrators-needed", inCount, float64(have.Needed)).with("at the group's least rate"))
	a.work(fmt.Sprintf("%d · %s to %s against a delivery of %s: %s", count, inDelivery.format(g.RateLeast, sys),
		inDelivery.format(g.RateMost, sys), inDelivery.format(c.Delivery.base, sys), verdict))
	a.caution = "A vibrator that fails must not stop a pour: have a spare that runs."
	return nil
}
