// Package loopback finds addresses for the servers of tests that have to be told
// where to listen, or that begin to listen later.
package loopback

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
)

// Those who ask the system for any port get one from 32768 on (Linux) or from 49152
// on (RFC 6335, section 6): what lies below is taken by nobody in the meantime.
const first, end = 20000, 32000

// Free returns an address of 127.0.0.1 that nobody listens on.
func Free() (string, error) {
	for range 100 {
		at := fmt.Sprintf("127.0.0.1:%d", first+rand.IntN(end-first)) // #nosec G404 -- no secret
		l, err := net.Listen("tcp", at)
		if err != nil {
			continue
		}
		return at, l.Close()
	}
	return "", errors.New("find a free port: none of 100 is")
}
