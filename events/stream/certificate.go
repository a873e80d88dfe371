package stream

import (
	"crypto/tls"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"
)

// ReloadingCertificate serves the certificate in two PEM files and reads them
// again when they have changed. It is an error if they cannot be read now. What
// cannot be read later, such as a new certificate whose key is not there yet,
// leaves the last good one in use and is tried again at the next connection.
func ReloadingCertificate(certFile, keyFile string) (func(*tls.ClientHelloInfo) (*tls.Certificate, error), error) {
	r := &reloading{certFile: certFile, keyFile: keyFile}
	if err := r.load(); err != nil {
		return nil, err
	}
	return func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		r.mu.Lock()
		defer r.mu.Unlock()
		// An error means the files are being replaced, or wrong: r.cert stays.
		_ = r.load()
		return r.cert, nil
	}, nil
}

type reloading struct {
	certFile, keyFile string

	mu    sync.Mutex
	cert  *tls.Certificate
	stamp [2]fileStamp
}

// fileStamp tells a file that was written again.
type fileStamp struct {
	size int64
	at   time.Time
}

func (r *reloading) load() error {
	var stamp [2]fileStamp
	for i, path := range []string{r.certFile, r.keyFile} {
		info, err := os.Stat(path)
		if err != nil {
			return fmt.Errorf("load certificate: %w", err)
		}
		stamp[i] = fileStamp{info.Size(), info.ModTime()}
	}
	if r.cert != nil && stamp == r.stamp {
		return nil
	}
	cert, err := tls.LoadX509KeyPair(r.certFile, r.keyFile)
	if err != nil {
		return fmt.Errorf("load certificate %s: %w", r.certFile, err)
	}
	if cert.Leaf == nil {
		return errors.New("load certificate: no certificate in the file")
	}
	r.cert, r.stamp = &cert, stamp
	return nil
}
