package calc

import (
	"bytes"
	"cmp"
	"fmt"
	"image/color"
	"math"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/net/html"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)
