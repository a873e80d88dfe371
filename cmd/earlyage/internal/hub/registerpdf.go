package hub

import (
	"io"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/cmd/earlyage/internal/register"
	"earlyage/events"
)

// registerPDF prints a register.
func (h *Hub) registerPDF(io.Writer, *register.Register, string) error {
	return &events.Refusal{Field: "format", Value: api.RegisterPDF, Allowed: "json, csv or xlsx: this hub prints no register"}
}
