package desk

import "time"

// NextTick is when Tick alone has something to do.
func (d *Desk) NextTick() time.Time {
	e, _ := d.ticks.first()
	return e.at
}
