package stream

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// ReloadingCertificate is CertificateFiles.Reloading with the default logger.
func ReloadingCertificate(certFile, keyFile string) (func(*tls.ClientHelloInfo) (*tls.Certificate, error), error) {
	return CertificateFiles{Cert: certFile, Key: keyFile}.Reloading()
}

// CertificateFiles are a certificate and its key, PEM.
type CertificateFiles struct {
	Cert, Key string
	Log       *slog.Logger // default slog.Default()
}

// Reloading serves the certificate and reads the files again when they have
// changed. It is an error if they cannot be read now. What cannot be read later,
// such as a new certificate whose key is not there yet, leaves the last good one
// in use and is tried again at the next connection; that is said once, and once
// more when it is over.
func (c CertificateFiles) Reloading() (func(*tls.ClientHelloInfo) (*tls.Certificate, error), error) {
	r := &reloading{certFile: c.Cert, keyFile: c.Key, log: c.Log}
	if r.log == nil {
		r.log = slog.Default()
	}
	if err := r.load(); err != nil {
		return nil, err
	}
	return func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.say(r.load())
		return r.cert, nil
	}, nil
}

// say says when the files begin to be unreadable, and when that ends. Called under mu.
func (r *reloading) say(err error) {
	switch {
	case err != nil && !r.bad:
		r.log.Error("new certificate cannot be read, the old one stays in use", "cause", err.Error(), "until", r.cert.Leaf.NotAfter)
	case err == nil && r.bad:
		r.log.Info("certificate can be read again", "until", r.cert.Leaf.NotAfter)
	}
	r.bad = err != nil
}

type reloading struct {
	certFile, keyFile string
	log               *slog.Logger

	mu    sync.Mutex
	cert  *tls.Certificate
	stamp [2]fileStamp
	bad   bool // the files could not be read at the last connection
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
