package events

import (
	"strconv"
	"time"
)

// LoadOrdered is a truckload ordered.
type LoadOrdered struct {
	Load     string    `json:"load" rule:"need,token" doc:"the load's mark, the same from order to discharge"`
	At       time.Time `json:"at,omitzero" doc:"when it was ordered"`
	Expected time.Time `json:"expected,omitzero" doc:"when it should arrive"`
	VolumeM3 *float64  `json:"volume_m3" rule:"need,0.1..20" unit:"m³" doc:"volume of concrete"`
	Mix      string    `json:"mix,omitzero" rule:"token" doc:"the mix"`
}

func (d *LoadOrdered) check() error           { return nil }
func (d *LoadOrdered) span() (b, e time.Time) { return d.At, d.At }

// LoadBatched is the moment when water met cement.
type LoadBatched struct {
	Load     string    `json:"load" rule:"need,token" doc:"the load's mark, the same from order to discharge"`
	Ticket   string    `json:"ticket,omitzero" rule:"len 1..40" doc:"number of the delivery ticket"`
	At       time.Time `json:"at" rule:"need" doc:"when water met cement"`
	VolumeM3 *float64  `json:"volume_m3,omitzero" rule:"0.1..20" unit:"m³" doc:"volume of concrete"`
	Mix      string    `json:"mix,omitzero" rule:"token" doc:"the mix"`
}

func (d *LoadBatched) check() error           { return nil }
func (d *LoadBatched) span() (b, e time.Time) { return d.At, d.At }

// LoadArrived is a truck on site.
type LoadArrived struct {
	Load    string    `json:"load" rule:"need,token" doc:"the load's mark, the same from order to discharge"`
	At      time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	SlumpMM *float64  `json:"slump_mm,omitzero" rule:"0..300" unit:"mm" doc:"slump measured on arrival"`
	Celsius *float64  `json:"celsius,omitzero" rule:"-10..60" unit:"°C" doc:"temperature of the concrete"`
	WaterL  *float64  `json:"water_l,omitzero" rule:"0..500" unit:"l" doc:"water added on site"`
}

func (d *LoadArrived) check() error           { return nil }
func (d *LoadArrived) span() (b, e time.Time) { return d.At, d.At }

// LoadDischarged is a load placed from its truck.
type LoadDischarged struct {
	Load     string    `json:"load" rule:"need,token" doc:"the load's mark, the same from order to discharge"`
	Ticket   string    `json:"ticket,omitzero" rule:"len 1..40" doc:"number of the delivery ticket"`
	Batched  time.Time `json:"batched,omitzero" doc:"when water met cement, by the ticket"`
	Began    time.Time `json:"began,omitzero" doc:"first concrete; not given: as ended"`
	Ended    time.Time `json:"ended,omitzero" doc:"last concrete; not given: as began, or when it was entered"`
	VolumeM3 *float64  `json:"volume_m3,omitzero" rule:"0.1..20" unit:"m³" doc:"volume of concrete"`
	SlumpMM  *float64  `json:"slump_mm,omitzero" rule:"0..300" unit:"mm" doc:"slump measured on site"`
	Celsius  *float64  `json:"celsius,omitzero" rule:"-10..60" unit:"°C" doc:"temperature of the concrete"`
	WaterL   *float64  `json:"water_l,omitzero" rule:"0..500" unit:"l" doc:"water added on site"`
}

func (d *LoadDischarged) check() error           { return checkSpan(d.Began, d.Ended) }
func (d *LoadDischarged) span() (b, e time.Time) { return d.Began, d.Ended }

func checkSpan(began, ended time.Time) error {
	if !began.IsZero() && !ended.IsZero() && ended.Before(began) {
		return refuse("data.ended", ended.Format(time.RFC3339), "at or after began, "+began.Format(time.RFC3339))
	}
	if !began.IsZero() && ended.Sub(began) > 24*time.Hour {
		return refuse("data.ended", ended.Format(time.RFC3339), "within 24 h of began")
	}
	return nil
}

// LoadRejected is a load sent back.
type LoadRejected struct {
	Load   string    `json:"load" rule:"need,token" doc:"the load's mark, the same from order to discharge"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *LoadRejected) check() error           { return nil }
func (d *LoadRejected) span() (b, e time.Time) { return d.At, d.At }

// PumpReported is the pump's rate.
type PumpReported struct {
	At       time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	RateM3H  *float64  `json:"rate_m3h" rule:"need,0..200" unit:"m³/h" doc:"rate of placing"`
	Stopped  bool      `json:"stopped,omitzero" doc:"true: the pump stands"`
	NoteText string    `json:"note,omitzero" doc:"in words"`
}

func (d *PumpReported) check() error           { return nil }
func (d *PumpReported) span() (b, e time.Time) { return d.At, d.At }

// PourStopped is a stop in placing.
type PourStopped struct {
	At      time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	AtM     *float64  `json:"at_m,omitzero" rule:"0..2000" unit:"m" doc:"where the concrete ends"`
	Planned bool      `json:"planned,omitzero" doc:"true: a planned construction joint"`
	Reason  string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *PourStopped) check() error           { return nil }
func (d *PourStopped) span() (b, e time.Time) { return d.At, d.At }

// StretchLeftLow declares a stretch under its planned top.
type StretchLeftLow struct {
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	FromM  *float64  `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station of one end"`
	ToM    *float64  `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station of the other end"`
	TopM   *float64  `json:"top_m" rule:"need,0..15" unit:"m" doc:"height of the concrete there above the wall's foot"`
	Reason string    `json:"reason" rule:"need,len 1..500" doc:"why"`
}

func (d *StretchLeftLow) check() error           { return checkStretch("data", d.FromM, d.ToM) }
func (d *StretchLeftLow) span() (b, e time.Time) { return d.At, d.At }

// LiftPlaced is concrete placed from one station to another. Its height is
// given by the top reached or by its depth, not by both.
type LiftPlaced struct {
	FromM    *float64  `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station where it began"`
	ToM      *float64  `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station where it ended"`
	TopM     *float64  `json:"top_m,omitzero" rule:"0.01..15" unit:"m" doc:"height reached above the wall's foot"`
	DepthM   *float64  `json:"depth_m,omitzero" rule:"0.01..5" unit:"m" doc:"depth of this lift"`
	Began    time.Time `json:"began,omitzero" doc:"first concrete; not given: as ended"`
	Ended    time.Time `json:"ended,omitzero" doc:"last concrete; not given: as began, or when it was entered"`
	Load     string    `json:"load,omitzero" rule:"token" doc:"from which load"`
	Vibrated *bool     `json:"vibrated,omitzero" doc:"vibrated as it was placed; not given: not said"`
	Celsius  *float64  `json:"celsius,omitzero" rule:"-10..60" unit:"°C" doc:"temperature of the concrete"`
	TopUp    bool      `json:"top_up,omitzero" doc:"true: a little concrete to bring the top to its mark"`
	Way      string    `json:"way,omitzero" rule:"forward|backward" doc:"along the stations, or against them; not given: from from_m to to_m, on a closed wall by the shorter way"`
}

func (d *LiftPlaced) check() error {
	if (d.TopM == nil) == (d.DepthM == nil) {
		return refuse("data.top_m", "", "either top_m or depth_m")
	}
	if err := checkStretch("data", d.FromM, d.ToM); err != nil {
		return err
	}
	return checkSpan(d.Began, d.Ended)
}
func (d *LiftPlaced) span() (b, e time.Time) { return d.Began, d.Ended }

// LiftConsolidated is a stretch vibrated.
type LiftConsolidated struct {
	FromM      *float64  `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station of one end"`
	ToM        *float64  `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station of the other end"`
	At         time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Vibrated   *bool     `json:"vibrated,omitzero" doc:"false: declared not vibrated; default true"`
	HeadMM     *float64  `json:"head_mm,omitzero" rule:"10..200" unit:"mm" doc:"diameter of the vibrator's head"`
	IntoMM     *float64  `json:"into_mm,omitzero" rule:"0..1000" unit:"mm" doc:"depth into the layer below"`
	SpacingMM  *float64  `json:"spacing_mm,omitzero" rule:"10..2000" unit:"mm" doc:"distance from one insertion to the next"`
	WithdrawMS *float64  `json:"withdraw_mms,omitzero" rule:"1..500" unit:"mm/s" doc:"rate at which the vibrator is drawn out"`
}

func (d *LiftConsolidated) check() error           { return checkStretch("data", d.FromM, d.ToM) }
func (d *LiftConsolidated) span() (b, e time.Time) { return d.At, d.At }

// VibratorDeclared says once what a crew vibrates with.
type VibratorDeclared struct {
	Crew     string    `json:"crew,omitzero" rule:"token" doc:"whose; not given: every crew's"`
	At       time.Time `json:"at,omitzero" doc:"from when; not given: from when it was entered"`
	HeadMM   *float64  `json:"head_mm" rule:"need,10..200" unit:"mm" doc:"diameter of the head; of several the least"`
	RadiusMM *float64  `json:"radius_mm,omitzero" rule:"30..1000" unit:"mm" doc:"radius of action by the maker's word; not given: the least of the head's group"`
	Count    uint64    `json:"count,omitzero" rule:"1..20" doc:"how many run at once, spares left out; default 1"`
}

func (d *VibratorDeclared) check() error           { return nil }
func (d *VibratorDeclared) span() (b, e time.Time) { return d.At, d.At }

// JointFelt is the practical test of an open joint.
type JointFelt struct {
	FromM *float64  `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station of one end"`
	ToM   *float64  `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station of the other end"`
	At    time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	Sinks *bool     `json:"sinks" rule:"need" doc:"true: the running vibrator sinks under its own weight"`
}

func (d *JointFelt) check() error           { return checkStretch("data", d.FromM, d.ToM) }
func (d *JointFelt) span() (b, e time.Time) { return d.At, d.At }

// JointTreated answers a cold joint.
type JointTreated struct {
	FromM  *float64  `json:"from_m" rule:"need,0..2000" unit:"m" doc:"station of one end"`
	ToM    *float64  `json:"to_m" rule:"need,0..2000" unit:"m" doc:"station of the other end"`
	At     time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	How    []string  `json:"how" rule:"need,cleaned|keyed|dowels|bonding-agent|cut-back,len 1..5" doc:"what was done"`
	WordOf string    `json:"word_of" rule:"need,token" doc:"id of the person on whose word"`
}

func (d *JointTreated) check() error           { return checkStretch("data", d.FromM, d.ToM) }
func (d *JointTreated) span() (b, e time.Time) { return d.At, d.At }

// TimedTemperature is one reading of a series.
type TimedTemperature struct {
	At      time.Time `json:"at" rule:"need" doc:"when"`
	Celsius *float64  `json:"celsius" rule:"need,-50..100" unit:"°C" doc:"the reading"`
}

// TemperatureRead is one reading, a series, or a minimum and maximum over a time.
type TemperatureRead struct {
	Place      string             `json:"place" rule:"need,core|top|face|air|fresh" doc:"where it was read: core, top or face of the concrete, fresh: concrete as delivered, or the air"`
	Probe      string             `json:"probe,omitzero" rule:"token" doc:"the probe's mark; not given: the device's name"`
	Instrument string             `json:"instrument,omitzero" rule:"logger|thermometer|min-max" doc:"logger: by itself; thermometer: read and typed by a person; min-max: lowest and highest since reset; default logger, with a person thermometer"`
	At         time.Time          `json:"at,omitzero" doc:"of a single reading: when; not given: when it was entered"`
	Celsius    *float64           `json:"celsius,omitzero" rule:"-50..100" unit:"°C" doc:"a single reading"`
	Series     []TimedTemperature `json:"series,omitzero" rule:"len 0..1000" doc:"a series of readings, in order of time"`
	From       time.Time          `json:"from,omitzero" doc:"of minimum and maximum: since when"`
	To         time.Time          `json:"to,omitzero" doc:"of minimum and maximum: until when"`
	MinC       *float64           `json:"min_c,omitzero" rule:"-50..100" unit:"°C" doc:"lowest"`
	MaxC       *float64           `json:"max_c,omitzero" rule:"-50..100" unit:"°C" doc:"highest"`
	HeightM    *float64           `json:"height_m,omitzero" rule:"0..15" unit:"m" doc:"height of the sensor above the wall's foot"`
}

func (d *TemperatureRead) check() error {
	forms := 0
	if d.Celsius != nil {
		forms++
	}
	if len(d.Series) > 0 {
		forms++
	}
	if d.MinC != nil || d.MaxC != nil || !d.From.IsZero() || !d.To.IsZero() {
		forms++
		if d.MinC == nil || d.MaxC == nil || d.From.IsZero() || d.To.IsZero() {
			return refuse("data.min_c", "", "from, to, min_c and max_c together")
		}
		if *d.MaxC < *d.MinC {
			return refuse("data.max_c", ftoa(*d.MaxC), "at least min_c, "+ftoa(*d.MinC)+" °C")
		}
		if !d.To.After(d.From) || d.To.Sub(d.From) > 72*time.Hour {
			return refuse("data.to", d.To.Format(time.RFC3339), "after from, within 72 h")
		}
	}
	if forms != 1 {
		return refuse("data.celsius", "", "exactly one of celsius, series, or from with to, min_c and max_c")
	}
	for i := 1; i < len(d.Series); i++ {
		if !d.Series[i].At.After(d.Series[i-1].At) {
			return refuse("data.series."+strconv.Itoa(i)+".at", d.Series[i].At.Format(time.RFC3339), "after the reading before")
		}
	}
	if n := len(d.Series); n > 0 && d.Series[n-1].At.Sub(d.Series[0].At) > 48*time.Hour {
		return refuse("data.series", "over 48 h", "a series within 48 h (send several)")
	}
	return nil
}

func (d *TemperatureRead) span() (b, e time.Time) {
	switch {
	case len(d.Series) > 0:
		return d.Series[0].At, d.Series[len(d.Series)-1].At
	case d.MinC != nil:
		return d.From, d.To
	default:
		return d.At, d.At
	}
}

// ProbeDeclared says where a probe sits and when it was calibrated.
type ProbeDeclared struct {
	Probe       string    `json:"probe" rule:"need,token" doc:"the probe's mark, or its device's name"`
	Place       string    `json:"place" rule:"need,core|top|face|air" doc:"where it reads: core, top or face of the concrete, or the air"`
	At          time.Time `json:"at,omitzero" doc:"since when; not given: since it was entered"`
	AtM         *float64  `json:"at_m,omitzero" rule:"0..2000" unit:"m" doc:"station"`
	HeightM     *float64  `json:"height_m,omitzero" rule:"0..15" unit:"m" doc:"height above the wall's foot"`
	Calibrated  string    `json:"calibrated,omitzero" rule:"yyyy-mm-dd" doc:"day of its calibration; not given: not known"`
	Certificate string    `json:"certificate,omitzero" rule:"len 1..80" doc:"certificate of the calibration"`
}

func (d *ProbeDeclared) check() error           { return nil }
func (d *ProbeDeclared) span() (b, e time.Time) { return d.At, d.At }

// ForecastHour is one hour of a forecast.
type ForecastHour struct {
	At      time.Time `json:"at" rule:"need" doc:"the hour's beginning"`
	Celsius *float64  `json:"celsius" rule:"need,-60..60" unit:"°C" doc:"air temperature"`
	GustMPS *float64  `json:"gust_mps,omitzero" rule:"0..90" unit:"m/s" doc:"greatest gust"`
}

// WeatherForecast is a forecast by the hour.
type WeatherForecast struct {
	Issued time.Time      `json:"issued,omitzero" doc:"when it was made"`
	Origin string         `json:"origin,omitzero" rule:"len 1..80" doc:"who made it"`
	Hours  []ForecastHour `json:"hours" rule:"need,len 1..400" doc:"hour by hour, in order of time"`
}

func (d *WeatherForecast) check() error {
	for i := 1; i < len(d.Hours); i++ {
		if step := d.Hours[i].At.Sub(d.Hours[i-1].At); step <= 0 || step > 6*time.Hour {
			return refuse("data.hours."+strconv.Itoa(i)+".at", d.Hours[i].At.Format(time.RFC3339), "after the hour before, within 6 h")
		}
	}
	return nil
}
func (d *WeatherForecast) span() (b, e time.Time) { return d.Issued, d.Issued }

// WindRead is a gust measured.
type WindRead struct {
	At      time.Time `json:"at,omitzero" doc:"when; not given: when it was entered"`
	GustMPS *float64  `json:"gust_mps" rule:"need,0..90" unit:"m/s" doc:"greatest gust"`
}

func (d *WindRead) check() error           { return nil }
func (d *WindRead) span() (b, e time.Time) { return d.At, d.At }
