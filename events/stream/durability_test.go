package stream_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earlyage/events/stream"
)

// childDir makes the test binary a hub that publishes until it is killed.
const childDir = "STREAM_TEST_CHILD_DIR"

// childMain publishes one by one and in batches, and says what is acknowledged.
func childMain(dir string) int {
	err := func() error {
		srv, err := stream.StartServer(stream.ServerConfig{Dir: dir}, nil)
		if err != nil {
			return err
		}
		nc, err := srv.Connect()
		if err != nil {
			return err
		}
		ctx := context.Background()
		st, err := stream.Open(ctx, nc, stream.Config{})
		if err != nil {
			return err
		}
		_, last, err := st.Head(ctx)
		for err == nil {
			batch := make([]stream.Post, 1+last%20)
			for i := range batch {
				batch[i] = stream.Post{Subject: "pour.a.w1.pour.started", Body: childBody(last + 1 + uint64(i)), MsgID: stream.NewMsgID()}
			}
			if len(batch) == 1 {
				last, _, err = stream.Publish(ctx, nc, batch[0])
			} else {
				last, err = stream.PublishBatch(ctx, nc, batch)
			}
			if err == nil {
				fmt.Println(last)
			}
		}
		return err
	}()
	fmt.Fprintln(os.Stderr, err)
	return 1
}

func childBody(seq uint64) []byte { return []byte("body of " + strconv.FormatUint(seq, 10)) }

// What was acknowledged outlives SIGKILL at any moment, one by one and in
// batches, and a server that opens the folder again holds it all.
//
// SIGKILL ends a process, not the machine: the kernel still writes its page
// cache, so this cannot tell an event that was synced from one that was only
// written. It shows that nothing acknowledged lay in the process's own memory
// and that a half-written tail does not harm what is before it. That pages are
// clean when the acknowledgement comes is looked at by TestAcknowledgedPagesAreClean
// where the kernel tells; that the disk keeps what it says it has needs the plug
// pulled.
func TestAcknowledgedOutlivesSIGKILL(t *testing.T) {
	dir := t.TempDir()
	acked := uint64(0)
	for round := range 6 {
		child := exec.Command(os.Args[0], "-test.run=^$")
		child.Env = append(os.Environ(), childDir+"="+dir)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, child.Start())
		lines := bufio.NewScanner(out)
		for n := 0; n < 20+17*round && lines.Scan(); n++ {
			acked = parseSeq(t, lines.Text())
		}
		require.NoError(t, child.Process.Kill())
		for lines.Scan() { // what it said while the signal was on its way
			acked = parseSeq(t, lines.Text())
		}
		require.ErrorContains(t, child.Wait(), "killed")

		srv := startServer(t, dir)
		all := readAll(t, openStream(t, connectHub(t, srv)))
		srv.Stop()
		require.GreaterOrEqual(t, uint64(len(all)), acked, "acknowledged messages are lost in round %d", round)
		for i, m := range all {
			require.EqualValues(t, i+1, m.Seq)
			require.Equal(t, string(childBody(m.Seq)), string(m.Body))
		}
	}
	require.Greater(t, acked, uint64(100))
}

func parseSeq(t testing.TB, line string) uint64 {
	t.Helper()
	seq, err := strconv.ParseUint(strings.TrimSpace(line), 10, 64)
	require.NoError(t, err)
	return seq
}
