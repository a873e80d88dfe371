// Package weather gives the hourly air temperatures of one nominal year that
// stand beside it as a CSV file (source and licence: README.md here).
//
// It is test and demo data: climate normals hold no cold snap, so nothing that
// decides about a real wall may import it. All functions are pure.
package weather

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"time"
)

//go:embed seattle-weather-hourly-normals.csv
var normals []byte

const (
	year  = 2010 // the nominal year of the file
	hours = 365 * 24
)

// Year holds one temperature in °C for each hour of a nominal year.
type Year struct{ celsius [hours]float64 }

// Normals reads the hourly normals. An hour that the file does not hold takes
// the value of the hour after it; the file lacks one, the first of the year.
func Normals() (*Year, error) {
	rows, err := csv.NewReader(bytes.NewReader(normals)).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read hourly normals: %w", err)
	}
	y, last := &Year{}, -1
	for n, row := range rows[1:] {
		at, err := time.Parse("2006-01-02T15:04:05", row[0])
		if err != nil {
			return nil, fmt.Errorf("read hourly normals line=%d: %w", n+2, err)
		}
		celsius, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			return nil, fmt.Errorf("read hourly normals line=%d: %w", n+2, err)
		}
		hour := hourOf(at)
		for h := last + 1; h <= hour; h++ {
			y.celsius[h] = celsius
		}
		last = hour
	}
	if last != hours-1 {
		return nil, fmt.Errorf("read hourly normals: the last hour is %d, not %d", last, hours-1)
	}
	return y, nil
}

// Celsius returns the temperature at the local time of t, whatever its year,
// linear between the hours. 29 February counts as 28 February.
func (y *Year) Celsius(t time.Time) float64 {
	h := hourOf(t)
	part := float64(t.Minute())/60 + float64(t.Second())/3600
	a, b := y.celsius[h], y.celsius[(h+1)%hours]
	return a + float64((b-a)*part)
}

func hourOf(t time.Time) int {
	day := t.Day()
	if t.Month() == time.February && day == 29 {
		day = 28
	}
	d := time.Date(year, t.Month(), day, 0, 0, 0, 0, time.UTC).YearDay() - 1
	return d*24 + t.Hour()
}
