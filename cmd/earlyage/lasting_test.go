package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Whoever reads how fast was told is not told less than it was.
func TestLasting(t *testing.T) {
	for seconds, want := range map[float64]string{0: "0.0 s", 0.01: "0.1 s", 0.3: "0.3 s", 59: "59.0 s", 60: "1 min", 540: "9 min", 541: "10 min", 3600: "1:00 h", 64800: "18:00 h", 63961: "17:47 h"} {
		require.Equal(t, want, lasting(seconds), "%v s", seconds)
	}
}
