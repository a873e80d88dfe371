package replay_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Of two lines under one key the first stands. Which of them is right nobody
// knows: both walls that they name are in doubt.
func TestOtherBytesAreADoubtOnBothWalls(t *testing.T) {
	r := read(t, morning.Add(4*time.Hour), laidOut("a1", 1, "a"), laidOut("a1", 1, "b"), laidOut("b2", 2, "b"), laidOut("c3", 3, "c"))
	require.Len(t, r.Refused, 1)
	require.Equal(t, "id", r.Refused[0].Field)
	walls := r.Walls()
	require.Len(t, walls, 3)
	require.Contains(t, hold(t, walls[0]).Note, "other bytes under a key")
	require.Contains(t, hold(t, walls[1]).Note, "other bytes under a key")
	require.Equal(t, "none", hold(t, walls[2]).Have)
}
