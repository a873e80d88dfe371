package picture

import (
	"math"
	"strconv"
)

// Color is "#RRGGBB"; empty is none.
type Color string

// The palette.
const (
	ink          Color = "#111417"
	paper        Color = "#FFFFFF"
	slab         Color = "#ECEEEA"
	grey         Color = "#5C646B"
	placingBlue  Color = "#0B5CAD"
	curingPurple Color = "#6B2C91"
	watchAmber   Color = "#F2A900" // a fill only, in an ink outline
	holdRed      Color = "#A5121F"
	stripGreen   Color = "#1F6B3A"
	noLinkGrey   Color = "#4A5056"
)

// Ages are the shades of concrete, new to old.
var ages = [5]Color{"#08306B", "#2B6CA8", "#6BA6CF", "#B3CFE3", "#EEF3F7"}

// RGB gives the three parts, 0 to 255. What is no colour is black.
func (c Color) RGB() (r, g, b uint8) {
	if len(c) != 7 {
		return 0, 0, 0
	}
	v, err := strconv.ParseUint(string(c[1:]), 16, 32)
	if err != nil {
		return 0, 0, 0
	}
	return uint8(v >> 16 & 0xff), uint8(v >> 8 & 0xff), uint8(v & 0xff)
}

// Contrast is the contrast ratio of two colours by WCAG 2.2, 1 to 21.
func Contrast(a, b Color) float64 {
	x, y := a.luminance(), b.luminance()
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// luminance is the relative luminance of WCAG 2.2.
func (c Color) luminance() float64 {
	r, g, b := c.RGB()
	return float64(0.2126*linear(r)) + float64(0.7152*linear(g)) + float64(0.0722*linear(b))
}

func linear(v uint8) float64 {
	s := float64(v) / 255
	if s <= 0.04045 {
		return s / 12.92
	}
	return math.Pow((s+0.055)/1.055, 2.4)
}

// on is the colour of text on a surface: the one that stands out more.
func on(surface Color) Color {
	if Contrast(paper, surface) > Contrast(ink, surface) {
		return paper
	}
	return ink
}
