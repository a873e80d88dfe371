package concrete

// Strengths before which the wall must not freeze.
const (
	// FirstFreezeStrengthMPa is 3.5 MPa (500 psi): found in PCA Design and
	// Control, chapter 14.
	FirstFreezeStrengthMPa = 3.5
	// FreezeStrengthEN13670MPa is EN 13670 8.5 (from memory): the surface is
	// not below 0 °C until 5 MPa.
	FreezeStrengthEN13670MPa = 5.0
)

// fahrenheit converts a temperature (not a difference) to °F.
func fahrenheit(c float64) float64 { return c*1.8 + 32 }
