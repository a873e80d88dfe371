package numbers

// topic is a section of the page: one file of reference rows, and the functions
// whose comments introduce it.
type topic struct {
	file    string // of the reference rows
	title   string
	symbols []string // functions, types and methods, as in Series.CountedAge
}

var topics = []topic{
	{"01-nurse-saul.csv", "1. Temperature-time factor (Nurse-Saul)", []string{"Series.TemperatureTime", "SiteSpecimenDay"}},
	{"02-equivalent-age.csv", "2. Equivalent age", []string{
		"Rule", "Maturity.Factor", "Maturity.HourFactor", "Series.EquivalentAge", "Series.CountedAge", "QFromEa",
	}},
	{"03-strength.csv", "3. Strength against age or maturity", []string{
		"EN1992", "ACI209", "Hyperbolic", "Exponential", "Plowman", "FitHyperbolic", "FitExponential", "StrengthFit.Band", "WhenReached",
	}},
	{"04-setting.csv", "4. Setting", []string{
		"FitSetting", "InterpolateSetting", "InitialSetMinutes", "ScaleInitialSet", "EquivalentSet", "HydrationSetHours",
	}},
	{"05-joints.csv", "5. Cold joints", []string{"AirJointMinutes", "PlacingLimitMinutes", "EffectiveJointLimit"}},
	{"06-pressure.csv", "6. Placing rate and lateral pressure", []string{
		"FullHeadPressure", "ACIWallPressure", "ACIGreatestRate", "CIRIAPressure", "DIN1980Pressure", "DIN2010Pressure", "RiseRate",
	}},
	{"07-consolidation.csv", "7. Consolidation", []string{
		"VibratorGroups", "VibratorForCore", "InsertionSpacing", "WithdrawalSeconds", "VibratorsKeepUp",
	}},
	{"08-hot.csv", "8. Hot weather", []string{"Evaporation", "DryingActionFor", "FreshTemperature", "CoolingForDrop"}},
	{"09-cold.csv", "9. Cold weather", []string{
		"ColdWeather", "ColdWeather1988", "LimitsForSection", "ProtectionHours", "OlderProtectionHours", "FirstFreeze", "Series.GreatestDrop",
	}},
	{"10-removal.csv", "10. Removal of forms and braces", []string{
		"BS8110Hours", "BS8110Moment", "ACICreditedHours", "Series.Above", "RadfordHours", "HoursAtTemperature", "BraceHours", "CuringHours", "CuringMoment",
	}},
	{"11-heat.csv", "11. Temperature inside the wall", []string{
		"Binder.Hydration", "HeatMix.AdiabaticRise", "Section.Biot", "Section.Lumped", "Section.Nodal", "HeatHistory",
	}},
	{"12-wind.csv", "12. Wind and bracing", []string{
		"ConstructionWindFactor", "VelocityPressure", "WallForceCoefficient", "WallTension", "BraceForceFor", "MinimumBracingFor", "RestrictedZone",
	}},
	{"13-readymix.csv", "13. Ready-mixed concrete", []string{"DischargeLimits", "SlumpTolerance", "TestsFor", "TakeOff.Quantity", "CentreLine"}},
	{"16-disagreements.csv", "", nil}, // shown where sources disagree
}

// disagreement is where sources say different things. Its rows are those whose
// item begins with "16." and its number, of any file.
type disagreement struct {
	number      int
	what        string
	done        string // which of them this library follows
	uncheckable string // why no row can assert it; empty if rows do
}

var disagreements = []disagreement{
	{number: 1, what: "Air of exactly 25 °C: JSCE counts it with the longer limit, JASS 5 with the shorter.", done: "Each rule keeps its own edge."},
	{number: 2, what: "30 min between layers (a US contract) against 2 to 2.5 h (Japan).",
		done: "A setting of the site, which can only shorten; by itself the earlier of 150 or 120 min by air and 80 % of initial set."},
	{number: 3, what: "Datum 0 °C (ASTM C1074) against -10 °C (agencies, BS 8110), and an activation energy of 33.5 (FHP) against 41.6 kJ/mol (C1074).",
		done: "All are offered; windows use Arrhenius with Q 5000 K unless the site says otherwise. Datum 0 °C is the cautious one in the cold, -10 °C above 20 °C."},
	{number: 4, what: "48 h at 20 °C become 96 to 192 h at 5 °C by rule.",
		done: "The rule that governed is named and the others are shown beside it; 48 h gone by are always required."},
	{number: 5, what: "Uno's rounded SI form reads 4 to 5 % lower than the exact conversion of the US form.", done: "The exact conversion; the rounded form on request."},
	{number: 6, what: "The approximate-setting table is no Arrhenius curve of one activation energy: its hot end falls faster.",
		done: "Joints use the table, or the mix's own points; one activation energy only for comparison, with a warning where it is late."},
	{number: 7, what: "The SI formulas of ACI 347 jump where the second takes over; the US pair does not.", done: "The boundary belongs to the second formula, the higher one."},
	{number: 8, what: "Thin sections in the cold: 13 °C (ACI 306R table) against 10 °C (web); hot concrete: 32 against 35 °C.",
		done: "13 °C; both hot limits are listed by name."},
	{number: 9, what: "Withdrawing a vibrator: 75 mm/s against 1 ft in 3 s, which is 100 mm/s.", done: "75 mm/s, the slower."},
	{number: 10, what: "UFGS prints 10 °C (50 °F) for a difference; it is 18 °F.", done: "Differences are a dimension of their own, and no 32 is added."},
	{number: 11, what: "ACI 318 prints 110 m³ in its metric code and 150 yd³, which is 114.7 m³, in the other.", done: "Each code by its own figure."},
	{number: 12, what: "A public repository gives 12 h for walls as a table of ACI 318-25.", done: "Not believed and not used: ACI 318 gives no hours.",
		uncheckable: "there is nothing in this library to check"},
	{number: 13, what: "Penetration data by least squares or by lines between readings: 441 against 448 min.", done: "Least squares, the earlier; the other is shown beside it."},
	{number: 14, what: "Cold weather by ACI 306R-88 (days and means) or -16 (4 °C).", done: "That of 2016: simpler, and cold sooner."},
}
