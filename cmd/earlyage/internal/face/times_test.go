package face_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earlyage/cmd/earlyage/internal/face"
)

// A time to strip is never shown earlier than it is, a moment that has been
// never later.
func TestRoundingToTheSafeSide(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	exact := time.Date(2026, 11, 4, 15, 12, 0, 0, time.UTC)
	require.Equal(t, "Wed 4 Nov 10:12 EST", face.Strip(exact, newYork))
	require.Equal(t, "Wed 4 Nov 10:13 EST", face.Strip(exact.Add(time.Nanosecond), newYork))
	require.Equal(t, "Wed 4 Nov 10:13 EST", face.Strip(exact.Add(59*time.Second), newYork))
	require.Equal(t, "Wed 4 Nov 10:12 EST", face.Past(exact.Add(59*time.Second), newYork))
}

func TestTimeInJSON(t *testing.T) {
	at := time.Date(2026, 11, 4, 15, 12, 3, 1, time.FixedZone("", 3600))
	text, err := face.Time{Time: at}.MarshalJSON()
	require.NoError(t, err)
	require.Equal(t, `"2026-11-04T14:12:04Z"`, string(text), "UTC, a part of a second rounded up")
	var back face.Time
	require.NoError(t, back.UnmarshalJSON(text))
	require.True(t, back.Equal(at.Truncate(time.Second).Add(time.Second)))

	text, err = face.Time{}.MarshalJSON()
	require.NoError(t, err)
	require.Equal(t, "null", string(text))
	require.NoError(t, back.UnmarshalJSON(text))
	require.True(t, back.IsZero())
	require.Error(t, back.UnmarshalJSON([]byte(`"yesterday"`)))
}
