package concrete

import (
	"fmt"
	"math"
)

// JointRule is a rule for how long the surface of a layer may wait for the next.
type JointRule int

// The closed set of joint rules.
const (
	// JointJSCE is the JSCE standard specification, construction: 150 min at
	// outdoor air of 25 °C and below (found, maedagijutuanzen.com), 120 min
	// above (from memory). 25 °C itself belongs to the longer limit.
	JointJSCE JointRule = iota + 1
	// JointJASS5 is AIJ JASS 5: 150 min at air below 25 °C, 120 min from 25 °C
	// (from memory). 25 °C itself belongs to the shorter limit.
	JointJASS5
	// JointSite is the site's own minutes, counted from placing.
	JointSite
	// JointSetTable is 80 % of initial set by the approximate-setting table,
	// counted from batching.
	JointSetTable
	// JointSetMix is 80 % of initial set by the mix's own measured points,
	// counted from batching.
	JointSetMix
)

var jointRuleNames = map[JointRule]string{
	JointJSCE:     "jsce",
	JointJASS5:    "jass-5",
	JointSite:     "site",
	JointSetTable: "setting-table",
	JointSetMix:   "setting-mix",
}

var jointRuleSources = map[JointRule]string{
	JointJSCE:     "JSCE Standard Specification for Concrete Structures, construction (150 min found, 120 min from memory)",
	JointJASS5:    "AIJ JASS 5 (from memory)",
	JointSite:     "the site's own limit",
	JointSetTable: "80 % of the approximate-setting table (70 to 100 °F found, 30 to 60 °F from memory)",
	JointSetMix:   "80 % of the mix's measured initial set",
}

// JointRules lists the closed set in a fixed order.
func JointRules() []JointRule {
	return []JointRule{JointJSCE, JointJASS5, JointSite, JointSetTable, JointSetMix}
}

// String gives the name that ParseJointRule reads, or "unknown".
func (r JointRule) String() string {
	if name, ok := jointRuleNames[r]; ok {
		return name
	}
	return "unknown"
}

// Source names the publication and how far the figures were checked.
func (r JointRule) Source() string { return jointRuleSources[r] }

// ParseJointRule reads a name exactly as String writes it.
func ParseJointRule(name string) (JointRule, error) {
	for _, r := range JointRules() {
		if jointRuleNames[r] == name {
			return r, nil
		}
	}
	return 0, fmt.Errorf("parse joint rule %q: not one of %v", name, JointRules())
}

// What the joint limits are made of.
const (
	jointLongMinutes  = 150.0
	jointShortMinutes = 120.0
	jointBoundaryC    = 25.0
	minAirC, maxAirC  = -60.0, 60.0

	// JointSetShare is the part of initial set at which a layer counts as
	// closed: PR 0.7 MPa falls at 0.817 of initial set with the slope of the
	// worked data of item 4.1 in NUMBERS.md (computed).
	JointSetShare = 0.8
	// UnknownAgeAtPlacingMin is the age that a load of unknown batching time is
	// taken to have when it is placed: the longest that ASTM C94 allows (from
	// memory).
	UnknownAgeAtPlacingMin = 90.0
	// ContractJointMinutes is the 30 min between layers of a US state file
	// contract (found, Colorado DRMS 1218846 p. 47); a site may set it.
	ContractJointMinutes = 30.0
)

// AirJointMinutes is the limit by air temperature in minutes, counted from
// placing, of JointJSCE (150 found, 120 from memory) or JointJASS5 (from memory);
// any other rule is refused. Air -60 to 60 °C.
func AirJointMinutes(r JointRule, airC float64) (float64, error) {
	hot, err := airIsHot(r, airC)
	if err != nil {
		return 0, err
	}
	if hot {
		return jointShortMinutes, nil
	}
	return jointLongMinutes, nil
}

// PlacingLimitMinutes is the time from mixing to the end of placing: 120 min in
// cool air, 90 min in hot, with the boundary of JointJSCE (25 °C is cool) or
// JointJASS5 (25 °C is hot). Source: maedagijutuanzen.com for the JSCE figures,
// ksknet.co.jp for JASS 5 (both found). Air -60 to 60 °C; any other rule is
// refused.
func PlacingLimitMinutes(r JointRule, airC float64) (float64, error) {
	hot, err := airIsHot(r, airC)
	if err != nil {
		return 0, err
	}
	if hot {
		return 90, nil
	}
	return 120, nil
}

// airIsHot applies the boundary of 25 °C as the rule has it.
func airIsHot(r JointRule, airC float64) (bool, error) {
	if err := inRange("air temperature", airC, minAirC, maxAirC, "°C"); err != nil {
		return false, err
	}
	switch r {
	case JointJSCE:
		return airC > jointBoundaryC, nil
	case JointJASS5:
		return airC >= jointBoundaryC, nil
	default:
		return false, fmt.Errorf("joint rule %s: has no limit by air temperature", r)
	}
}

// JointInputs is what the limit of a joint depends on. The temperatures are the
// hottest since the layer was placed; where one is not known, give the hottest
// that it may be.
type JointInputs struct {
	AirRule     JointRule  // JointJSCE or JointJASS5
	SiteMinutes float64    // min from placing, 5 to 150; 0 if the site sets none. It can only shorten
	AirC        float64    // °C, -60 to 60
	ConcreteC   float64    // °C, -50 to 80
	MixSet      []SetPoint // the mix's measured initial set; none: the approximate table
	AgeKnown    bool       // whether the batching time of the oldest load is known
	AgeMin      float64    // min from batching of the oldest load to placing, 0 to 1440
}

// JointLimit is the answer for one joint.
type JointLimit struct {
	Minutes      float64   // from placing, never negative; the earlier of the two below
	Rule         JointRule // the rule that governs
	AirMinutes   float64   // from placing: by air temperature and the site
	SetMinutes   float64   // from batching: the initial set itself
	SetLimit     float64   // from batching: 80 % of it
	OutsideTable bool      // the temperature lies outside the approximate-setting table
}

// EffectiveJointLimit is whichever ends first: the minutes by air or site,
// counted from placing, and 80 % of initial set at the hotter of air and
// concrete, counted from the batching of the oldest load (unknown: taken as 90
// min old at placing). It never lengthens as anything gets hotter or older.
// Sources: those of the rules; the 80 % computed from worked data. Values outside
// the ranges of [JointInputs] are refused.
func EffectiveJointLimit(in JointInputs) (JointLimit, error) {
	byAir, rule, err := in.byAir()
	if err != nil {
		return JointLimit{}, err
	}
	if err := inRange("concrete temperature", in.ConcreteC, minSetC, maxSetC, "°C"); err != nil {
		return JointLimit{}, err
	}
	age := UnknownAgeAtPlacingMin
	if in.AgeKnown {
		if err := inRange("age of the load at placing", in.AgeMin, 0, 1440, "min"); err != nil {
			return JointLimit{}, err
		}
		age = in.AgeMin
	}
	hottest := math.Max(in.AirC, in.ConcreteC)
	set, err := MixInitialSetMinutes(in.MixSet, hottest)
	if err != nil {
		return JointLimit{}, err
	}
	limit := JointLimit{
		Minutes: byAir, Rule: rule, AirMinutes: byAir,
		SetMinutes: set, SetLimit: JointSetShare * set, OutsideTable: !SetTableCovers(hottest),
	}
	if bySet := math.Max(0, limit.SetLimit-age); bySet < byAir {
		limit.Minutes, limit.Rule = bySet, JointSetTable
		if len(in.MixSet) > 0 {
			limit.Rule = JointSetMix
		}
	}
	return limit, nil
}

// byAir is the limit from placing and the rule it comes from.
func (in JointInputs) byAir() (float64, JointRule, error) {
	minutes, err := AirJointMinutes(in.AirRule, in.AirC)
	if err != nil {
		return 0, 0, err
	}
	if in.SiteMinutes == 0 {
		return minutes, in.AirRule, nil
	}
	if err := inRange("the site's joint minutes", in.SiteMinutes, 5, jointLongMinutes, "min"); err != nil {
		return 0, 0, err
	}
	if in.SiteMinutes < minutes {
		return in.SiteMinutes, JointSite, nil
	}
	return minutes, in.AirRule, nil
}
