package calc

import "earlyage/scheduler/concrete"

// binderFlags are the binder of a mix as the hydration model knows it.
type binderFlags struct {
	WCM     q[ratio]   `name:"wcm" placeholder:"0.50" names:"water to binder ratio" help:"Water to cementitious material, by mass."`
	Ash     q[percent] `placeholder:"20%" names:"fly ash|fly ash and slag" help:"Fly ash, of all cementitious material."`
	AshLime q[percent] `name:"ash-lime" placeholder:"10%" names:"CaO in fly ash" help:"CaO in the fly ash."`
	Slag    q[percent] `placeholder:"40%" names:"slag|fly ash and slag" help:"Ground slag, of all cementitious material."`
	C3S     q[percent] `name:"c3s" default:"54%" names:"C3S|sum of cement compounds" help:"C3S in the cement (average Type I cement: from memory)."`
	C2S     q[percent] `name:"c2s" default:"18%" names:"C2S" help:"C2S in the cement."`
	C3A     q[percent] `name:"c3a" default:"10%" names:"C3A" help:"C3A in the cement."`
	C4AF    q[percent] `name:"c4af" default:"8%" names:"C4AF" help:"C4AF in the cement."`
	SO3     q[percent] `name:"so3" default:"3%" names:"SO3" help:"SO3 in the cement."`
	Lime    q[percent] `name:"free-lime" default:"1%" names:"free lime" help:"Free lime in the cement."`
	MgO     q[percent] `name:"mgo" default:"2%" names:"MgO" help:"MgO in the cement."`
	Blaine  q[blaine]  `default:"369m2/kg" names:"Blaine fineness" help:"Fineness of the cement."`
}

const rangeHydration = "w/cm 0.32 to 0.70, fly ash to 55 %, slag to 50 %, both together to 55 %; fitted on laboratory mixes; no admixtures"

func (f binderFlags) binder() concrete.Binder {
	return concrete.Binder{
		Cement: concrete.Cement{
			C3S: f.C3S.base, C2S: f.C2S.base, C3A: f.C3A.base, C4AF: f.C4AF.base,
			SO3: f.SO3.base, FreeLime: f.Lime.base, MgO: f.MgO.base, Blaine: f.Blaine.base,
		},
		WaterBinder: f.WCM.base, Ash: f.Ash.base, AshLime: f.AshLime.base, Slag: f.Slag.base,
	}
}
