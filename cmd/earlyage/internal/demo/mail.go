package demo

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-smtp"
)

// postOffice is a mail server of this machine alone. What it takes goes nowhere.
type postOffice struct {
	server *smtp.Server
	port   int
	roots  *x509.CertPool // who vouch for it
	routes string         // path of the route file that names it
	ended  chan error

	mailed func(letter) // one at a time
	mu     sync.Mutex   // held while mailed is called
}

// letter is what came for one address.
type letter struct{ to, text string }

const mailDomain = "@builder.example"

func addressOf(name string) string { return strings.ToLower(name) + mailDomain }

func openPostOffice(mailed func(letter)) (*postOffice, error) {
	if mailed == nil {
		mailed = func(letter) {}
	}
	cert, roots, err := ownCertificate()
	if err != nil {
		return nil, fmt.Errorf("demo mail server: %w", err)
	}
	l, err := net.Listen("tcp", anyPort)
	if err != nil {
		return nil, fmt.Errorf("demo mail server: %w", err)
	}
	o := &postOffice{roots: roots, port: l.Addr().(*net.TCPAddr).Port, ended: make(chan error, 1), mailed: mailed}
	o.server = smtp.NewServer(o)
	o.server.Domain, o.server.ErrorLog = "mail.builder.example", log.New(io.Discard, "", 0)
	o.server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS13}
	go func() { o.ended <- o.server.Serve(l) }()
	return o, nil
}

// ownCertificate is one that nobody but this demo believes.
func ownCertificate() (cert tls.Certificate, roots *x509.CertPool, err error) {
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return cert, nil, err
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(10 * 365 * 24 * time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, public, key)
	if err != nil {
		return cert, nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return cert, nil, err
	}
	roots = x509.NewCertPool()
	roots.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, roots, nil
}

// writeRoutes writes the demo's route file: everything by default, and mail.
func (o *postOffice) writeRoutes(dir string) (string, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fmt.Errorf("demo route file: %w", err)
	}
	o.routes = filepath.Join(dir, "routes.yaml")
	text := fmt.Sprintf("mail:\n  server: 127.0.0.1\n  port: %d\n  tls: starttls\n  from: hub%s\n", o.port, mailDomain)
	if err := os.WriteFile(o.routes, []byte(text), 0o600); err != nil {
		return "", fmt.Errorf("demo route file: %w", err)
	}
	return o.routes, nil
}

// close ends it. Its route file goes with it: nobody answers at that port then.
func (o *postOffice) close() error {
	err := o.server.Close()
	if ended := <-o.ended; !errors.Is(ended, smtp.ErrServerClosed) {
		err = errors.Join(err, ended)
	}
	if o.routes != "" {
		err = errors.Join(err, os.Remove(o.routes))
	}
	return err
}

// NewSession implements smtp.Backend.
func (o *postOffice) NewSession(*smtp.Conn) (smtp.Session, error) { return &delivery{office: o}, nil }

// delivery is one letter on its way in.
type delivery struct {
	office *postOffice
	to     []string
}

// Reset implements smtp.Session.
func (d *delivery) Reset() { d.to = nil }

// Logout implements smtp.Session.
func (d *delivery) Logout() error { return nil }

// Mail implements smtp.Session.
func (d *delivery) Mail(string, *smtp.MailOptions) error { return nil }

// Rcpt implements smtp.Session.
func (d *delivery) Rcpt(to string, _ *smtp.RcptOptions) error {
	d.to = append(d.to, to)
	return nil
}

// Data implements smtp.Session.
func (d *delivery) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	d.office.mu.Lock()
	defer d.office.mu.Unlock()
	for _, to := range d.to {
		d.office.mailed(letter{to, string(text)})
	}
	return nil
}
