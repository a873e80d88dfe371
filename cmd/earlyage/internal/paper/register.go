package paper

import (
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/cmd/earlyage/internal/wallpage"
)

// rows prints rows of the register.
func (p *press) rows(caption string, list []register.Row, t wallpage.Tongue) {
}
