package weather_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/testdata/weather"
)

// Rows of the file itself: 2010-01-01T01:00:00 4.0, 02:00 3.9; 2010-11-02T10:00 9.2, 11:00 10.1;
// 2010-12-31T23:00 4.3.
func TestCelsius(t *testing.T) {
	y, err := weather.Normals()
	require.NoError(t, err)
	for _, c := range []struct {
		at   time.Time
		want float64
	}{
		{time.Date(2026, 1, 1, 1, 0, 0, 0, time.UTC), 4.0},
		{time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), 4.0}, // missing in the file
		{time.Date(2026, 11, 2, 10, 0, 0, 0, time.UTC), 9.2},
		{time.Date(2026, 11, 2, 10, 30, 0, 0, time.UTC), 9.65},
		{time.Date(2027, 12, 31, 23, 0, 0, 0, time.UTC), 4.3},
		{time.Date(2027, 12, 31, 23, 30, 0, 0, time.UTC), 4.15}, // towards the first hour of the year
	} {
		require.InDelta(t, c.want, y.Celsius(c.at), 1e-9, "at %s", c.at)
	}
	leap := y.Celsius(time.Date(2028, 2, 29, 12, 0, 0, 0, time.UTC))
	require.Equal(t, y.Celsius(time.Date(2028, 2, 28, 12, 0, 0, 0, time.UTC)), leap)
}
