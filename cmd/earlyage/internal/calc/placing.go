package calc

import (
	"earlyage/scheduler/concrete"
	"earlyage/scheduler/concrete/unit"
)

// placingFlags describe a placement to the pressure rules.
type placingFlags struct {
	Temp              q[temperature] `required:"" placeholder:"10C" names:"concrete temperature" help:"Coldest concrete at placing."`
	Height            q[length]      `required:"" placeholder:"3m" names:"height of placement" help:"Height of concrete placed in one go."`
	UnitWeight        q[unitWeight]  `name:"unit-weight" default:"24kN/m3" names:"unit weight" help:"Unit weight of the concrete."`
	Slump             q[thickness]   `placeholder:"125mm" names:"slump" help:"Slump; not given: full head, as above 175 mm."`
	Binder            string         `enum:",portland,blended,rich" default:"" placeholder:"BINDER" help:"portland; blended: under 70 % slag or 40 % fly ash; rich: more. Not given: the worst."`
	Retarder          string         `enum:",no,yes" default:"" placeholder:"no|yes" help:"Whether any load holds a retarder; a retarding water reducer is one. Not given: yes."`
	Member            string         `enum:"wall,column" default:"wall" placeholder:"wall|column" help:"What is placed."`
	VibrationDepth    q[length]      `name:"vibration-depth" placeholder:"1.2m" names:"depth of vibration" help:"How deep the vibrator reaches; over 1.2 m: full head."`
	ExternalVibration bool           `name:"external-vibration" help:"Vibrators on the form: full head."`
	FromBase          bool           `name:"from-base" help:"Pumped in from the foot: full head and 25 %."`
	Edition           string         `enum:"si,us" default:"si" placeholder:"si|us" help:"Edition whose constants are taken; they differ by rounding."`
}

func (f placingFlags) placing(rate float64) concrete.Placing {
	return concrete.Placing{
		UnitWeight: f.UnitWeight.base, Height: f.Height.base, Rate: rate, TempC: f.Temp.base, Slump: f.Slump.base,
		Binder: map[string]concrete.BinderKind{
			"portland": concrete.BinderPortland, "blended": concrete.BinderBlended, "rich": concrete.BinderRichBlend,
		}[f.Binder],
		Retarder:       map[string]concrete.Retarder{"no": concrete.WithoutRetarder, "yes": concrete.WithRetarder}[f.Retarder],
		Member:         map[string]concrete.Member{"column": concrete.Column}[f.Member],
		VibrationDepth: f.VibrationDepth.base, ExternalVibration: f.ExternalVibration, FromBase: f.FromBase,
	}
}

func (f placingFlags) constants() concrete.Constants { return concrete.Constants(f.Edition) }

// edition is the unit system in which an edition's formula is written.
func (f placingFlags) edition() unit.System {
	if f.Edition == "us" {
		return unit.US
	}
	return unit.SI
}

const (
	sourceACI = "ACI 347-04 2.2.2 and 347R-14 4.2.2: which formula holds where, and the limit on slump, found (M. K. Hurd, \"Use updated wall pressure formulas\", concreteconstruction.net); constants from memory"
	rangeACI  = "rate to 4.5 m/h (15 ft/h) for walls, slump to 175 mm (7 in), internal vibration to 1.2 m (4 ft) deep; otherwise full head; tables published for 4 to 32 °C"
)
