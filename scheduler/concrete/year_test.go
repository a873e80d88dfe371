package concrete_test

import (
	"encoding/csv"
	commandline "flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/plotutil"
	"gonum.org/v1/plot/vg"

	"earlyage/scheduler/concrete"
)

var plotFile = commandline.String("plot", "", "draw the year of pours to this file (.svg, .png, .pdf), given from this package's folder")

const (
	floorHours = 48 // h elapsed that no rule can shorten
	needHours  = 48 // h of equivalent age at 20 °C
	yearHours  = 8760
)

// hourlyYear is the year of hourly normals: the moments of its rows and the air
// temperature from each to the years that follow, the year repeated.
type hourlyYear struct {
	starts []time.Time
	air    concrete.Series // hours since the first row, several years long
}

// readYear reads the normals, made warmer by a number of kelvin. The hour that
// the year's file lacks (midnight of New Year) lies on the straight line
// between its neighbours.
func readYear(t *testing.T, warmer float64) hourlyYear {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "weather", "seattle-weather-hourly-normals.csv"))
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"date", "pressure", "temperature", "wind"}, records[0])
	var y hourlyYear
	for _, r := range records[1:] {
		at, err := time.Parse("2006-01-02T15:04:05", r[0])
		require.NoError(t, err)
		temp, err := strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
		y.starts = append(y.starts, at)
		y.air = append(y.air, concrete.Reading{Hours: at.Sub(y.starts[0]).Hours(), TempC: temp + warmer})
	}
	require.Len(t, y.starts, 8759)
	next := slices.Clone(y.air)
	for i := range next {
		next[i].Hours += yearHours
	}
	y.air = append(y.air, next...)
	return y
}

// yearRules are the maturity rules that are compared, as in the table of hours
// at constant temperature that stand for 48 h at 20 °C.
var yearRules = []struct {
	name string
	rule concrete.Maturity
}{
	{"EN 1992 B.10", concrete.Maturity{Rule: concrete.RuleEN}},
	{"Arrhenius Q 5000", concrete.DefaultMaturity()},
	{"FHP", concrete.Maturity{Rule: concrete.RuleFHP}},
	{"Sadgrove", concrete.Maturity{Rule: concrete.RuleSadgrove}},
	{"Nurse-Saul 0", concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: 0}},
	{"Nurse-Saul -10", concrete.Maturity{Rule: concrete.RuleNurseSaul, DatumC: -10}},
}

// stripHours is, for a pour begun at each row, the hours until both the floor
// and the equivalent age are reached, the top of the wall at the temperature of
// the air.
func (y hourlyYear) stripHours(t *testing.T, m concrete.Maturity) []float64 {
	t.Helper()
	curve, err := y.air.CountedAge(m)
	require.NoError(t, err)
	out := make([]float64, len(y.starts))
	for i := range out {
		begun := y.air[i].Hours
		had, err := curve.At(begun)
		require.NoError(t, err)
		end, cured, err := curve.When(had + needHours)
		require.NoError(t, err)
		require.True(t, cured, "pour of %v is not cured within a year", y.starts[i])
		out[i] = max(floorHours, end-begun)
	}
	return out
}

// plot draws the hours of every rule against the beginning of the pour.
func (y hourlyYear) plot(t *testing.T) *plot.Plot {
	t.Helper()
	p := plot.New()
	p.Title.Text = "Hours until cured by each maturity rule, wall top at air temperature"
	p.X.Label.Text = "beginning of the pour"
	p.Y.Label.Text = "hours, 48 at least"
	var months plot.ConstantTicks
	for m := time.January; m <= time.December; m++ {
		months = append(months, plot.Tick{
			Value: float64(time.Date(y.starts[0].Year(), m, 1, 0, 0, 0, 0, time.UTC).Unix()), Label: "1 " + m.String()[:3],
		})
	}
	p.X.Tick.Marker = months
	p.Add(plotter.NewGrid())
	p.Legend.Top, p.Legend.XOffs = true, -8*vg.Centimeter
	for i, r := range yearRules {
		points := make(plotter.XYs, len(y.starts))
		for j, h := range y.stripHours(t, r.rule) {
			points[j] = plotter.XY{X: float64(y.starts[j].Unix()), Y: h}
		}
		line, err := plotter.NewLine(points)
		require.NoError(t, err)
		line.Color, line.Dashes, line.Width = plotutil.DarkColors[i], plotutil.Dashes(i), vg.Points(1.2)
		p.Add(line)
		p.Legend.Add(r.name, line)
	}
	return p
}

// monthly is the hours of one rule by the month of the pour's beginning, rising;
// index 0 is the whole year.
func (y hourlyYear) monthly(hours []float64) [13][]float64 {
	var by [13][]float64
	for i, h := range hours {
		by[0] = append(by[0], h)
		by[y.starts[i].Month()] = append(by[y.starts[i].Month()], h)
	}
	for _, m := range by {
		slices.Sort(m)
	}
	return by
}

func median(sorted []float64) float64 { return stat.Quantile(0.5, stat.Empirical, sorted, nil) }

const yearHead = `# Hours from a pour's beginning until its bracing would be cured by each maturity
# rule: at least 48 h elapsed, and an equivalent age of 48 h at 20 °C. One pour at
# each row of testdata/weather/seattle-weather-hourly-normals.csv (8,759 starts,
# the year repeated). Assumption: the top of the wall has the temperature of the
# air. Hours at or below 0 °C count nothing. Normals are averages: they hold no
# cold snaps, so the year is given again 5 K and 15 K colder; in the last a wall
# without protection waits from autumn for the next summer, and what happens to
# concrete that freezes is not counted. Computed; least/median/most by the month
# of the beginning, h.
`

func (y hourlyYear) summary(t *testing.T, title string) string {
	t.Helper()
	var out strings.Builder
	fmt.Fprintf(&out, "\n%s\n%-6s%7s%7s", title, "month", "pours", "air °C")
	var columns [][13][]float64
	for _, r := range yearRules {
		fmt.Fprintf(&out, "  %-22s", r.name)
		columns = append(columns, y.monthly(y.stripHours(t, r.rule)))
	}
	var air [13][]float64
	for i, at := range y.starts {
		air[at.Month()] = append(air[at.Month()], y.air[i].TempC)
		air[0] = append(air[0], y.air[i].TempC)
	}
	for _, month := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 0} {
		name := "year"
		if month > 0 {
			name = time.Month(month).String()[:3]
		}
		fmt.Fprintf(&out, "\n%-6s%7d%7.1f", name, len(air[month]), stat.Mean(air[month], nil))
		for _, c := range columns {
			h := c[month]
			fmt.Fprintf(&out, "  %-22s", fmt.Sprintf("%.1f/%.1f/%.1f", h[0], median(h), h[len(h)-1]))
		}
	}
	lines := strings.Split(out.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n") + "\n"
}

func TestYearByMonth(t *testing.T) {
	text := yearHead +
		readYear(t, 0).summary(t, "As the normals") +
		readYear(t, -5).summary(t, "5 K colder") +
		readYear(t, -15).summary(t, "15 K colder")
	checkGolden(t, filepath.Join("..", "..", "testdata", "reference", "year-by-month.golden"), text)
	if *plotFile != "" {
		require.NoError(t, readYear(t, 0).plot(t).Save(24*vg.Centimeter, 14*vg.Centimeter, *plotFile))
	}
}

// The same hours by the whole-number sums that open windows, in the year that
// holds no frost: they differ by the rounding down to 0.01 °C only, which makes
// them later.
func TestYearByWholeNumbers(t *testing.T) {
	y := readYear(t, 0)
	for _, r := range yearRules {
		table := concrete.NewTable(r.rule)
		hours := y.stripHours(t, r.rule)
		first, sum := 0, int64(0) // the sum from first up to row i
		for i := 1; first < len(hours); i++ {
			a, b := y.air[i-1], y.air[i]
			centi := int32(math.Floor((a.TempC+b.TempC)*50 + 1e-6))
			sum += int64(float64(table.Hour(centi)) * (b.Hours - a.Hours))
			for ; first < len(hours) && sum >= needHours*1e9; first++ {
				whole := max(floorHours, b.Hours-y.air[first].Hours)
				require.GreaterOrEqual(t, whole, hours[first]-1e-6, "%s, pour of %v", r.name, y.starts[first])
				require.Less(t, whole, hours[first]+2.1, "%s, pour of %v", r.name, y.starts[first])
				begun, next := y.air[first], y.air[first+1]
				centi := int32(math.Floor((begun.TempC+next.TempC)*50 + 1e-6))
				sum -= int64(float64(table.Hour(centi)) * (next.Hours - begun.Hours))
			}
		}
	}
}

func TestColderYearIsNeverEarlier(t *testing.T) {
	warm, cold := readYear(t, 0), readYear(t, -15)
	for _, r := range yearRules {
		early, late := warm.stripHours(t, r.rule), cold.stripHours(t, r.rule)
		for i, h := range early {
			require.GreaterOrEqual(t, h, float64(floorHours), "%s, pour of %v", r.name, warm.starts[i])
			require.GreaterOrEqual(t, late[i], h, "%s, pour of %v", r.name, warm.starts[i])
		}
	}
}
