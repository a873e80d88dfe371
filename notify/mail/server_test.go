package mail_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hmac"
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"log"
	"math/big"
	"net"
	netmail "net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"earlyage/notify/internal/conformance"
	"earlyage/notify/mail"
)

const (
	user     = "hub"
	password = "p3ncil-unsaid"
)

// letter is what the server took.
type letter struct {
	from string
	to   []string
	text string
	auth string // mechanism of the login; empty: none
	tls  bool
}

// server is a real mail server whose answers a test chooses.
type server struct {
	addr  *net.TCPAddr
	roots *x509.CertPool

	reached chan struct{}
	open    chan struct{}

	mu      sync.Mutex
	manner  conformance.Manner
	mechs   []string
	mailAs  error // answer to MAIL
	rcptAs  error
	dataAs  error
	leaves  bool // it goes once it has said that it took a message
	letters []letter
}

// serve starts a server. security is that of the client's configuration.
func serve(t *testing.T, security string) *server {
	t.Helper()
	cert, pool := certificate(t)
	s := &server{roots: pool, mechs: []string{"PLAIN"}, reached: make(chan struct{}, 100), open: make(chan struct{})}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s.addr = l.Addr().(*net.TCPAddr)
	srv := smtp.NewServer(s)
	srv.Domain, srv.ErrorLog, srv.AllowInsecureAuth = "mx.example", log.New(io.Discard, "", 0), security == mail.None
	conf := &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
	switch security {
	case mail.StartTLS:
		srv.TLSConfig = conf
	case mail.Implicit:
		l = tls.NewListener(l, conf)
	}
	ended := make(chan struct{})
	go func() { defer close(ended); _ = srv.Serve(l) }()
	t.Cleanup(func() {
		close(s.open)
		_, _ = srv.Close(), l.Close() // it may not have begun to serve
		<-ended
	})
	return s
}

func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, c, c, key.Public(), key)
	require.NoError(t, err)
	leaf, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

func (s *server) set(change func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	change()
}

func (s *server) taken() []letter {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]letter(nil), s.letters...)
}

// NewSession implements smtp.Backend.
func (s *server) NewSession(c *smtp.Conn) (smtp.Session, error) { return &session{s: s, c: c}, nil }

type session struct {
	s *server
	c *smtp.Conn
	letter
}

func (x *session) Logout() error { return nil }

func (x *session) Reset() {
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.letter.to = nil
	if x.s.leaves && len(x.s.letters) > 0 {
		_ = x.c.Conn().Close()
	}
}

func (x *session) AuthMechanisms() []string {
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	return x.s.mechs
}

func (x *session) Auth(mech string) (sasl.Server, error) {
	x.auth = mech
	check := func(_, name, word string) error {
		if name != user || word != password {
			return smtp.ErrAuthFailed
		}
		return nil
	}
	switch mech {
	case "PLAIN":
		return sasl.NewPlainServer(check), nil
	case "LOGIN":
		return &loginServer{check: check}, nil
	case "SCRAM-SHA-256":
		return &scramServer{}, nil
	}
	return nil, smtp.ErrAuthUnknownMechanism
}

func (x *session) Mail(from string, _ *smtp.MailOptions) error {
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.from = from
	return x.s.mailAs
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.to = append(x.to, to)
	switch {
	case x.s.rcptAs != nil:
		return x.s.rcptAs
	case x.s.manner == conformance.Refuse:
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "<" + to + ">: no such user here"}
	case x.s.manner == conformance.Trouble:
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "<" + to + ">: come again"}
	}
	return nil
}

func (x *session) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	x.s.mu.Lock()
	manner, as := x.s.manner, x.s.dataAs
	if manner == conformance.Hang {
		x.s.mu.Unlock()
		x.s.reached <- struct{}{}
		<-x.s.open
		return errors.New("it hung")
	}
	defer x.s.mu.Unlock()
	if as != nil {
		return as
	}
	_, x.tls = x.c.TLSConnectionState()
	x.text = string(text)
	x.s.letters = append(x.s.letters, x.letter)
	if manner == conformance.Lose {
		_ = x.c.Conn().Close()
	}
	return nil
}

// loginServer is the mechanism LOGIN, as clients and servers have it: there is no
// standard of it.
type loginServer struct {
	check func(identity, name, word string) error
	name  *string
	step  int
}

func (l *loginServer) Next(response []byte) ([]byte, bool, error) {
	l.step++
	switch l.step {
	case 1:
		return []byte("Username:"), false, nil
	case 2:
		name := string(response)
		l.name = &name
		return []byte("Password:"), false, nil
	}
	return nil, true, l.check("", *l.name, string(response))
}

// scramServer is the server's side of SCRAM-SHA-256, from RFC 5802 and RFC 7677.
type scramServer struct {
	step        int
	first, bare string
	nonce       string
}

var scramSalt = []byte("sixteen bytes of")

const scramTurns = 4096

func (s *scramServer) Next(response []byte) ([]byte, bool, error) {
	s.step++
	switch {
	case s.step == 1 && len(response) == 0: // the client waits to be asked
		s.step = 0
		return nil, false, nil
	case s.step == 1:
		bare, ok := strings.CutPrefix(string(response), "n,,")
		if !ok {
			return nil, false, errors.New("channel binding that was not offered")
		}
		s.bare = bare
		name, nonce, _ := strings.Cut(bare, ",r=")
		if name != "n="+user {
			return nil, false, smtp.ErrAuthFailed
		}
		s.nonce = nonce + rand.Text()
		s.first = fmt.Sprintf("r=%s,s=%s,i=%d", s.nonce, base64.StdEncoding.EncodeToString(scramSalt), scramTurns)
		return []byte(s.first), false, nil
	case s.step == 2:
		final, proof, _ := strings.Cut(string(response), ",p=")
		wantProof, verifier, err := scram(password, scramSalt, scramTurns, s.bare+","+s.first+","+final)
		if err != nil {
			return nil, false, err
		}
		if final != "c=biws,r="+s.nonce || proof != wantProof {
			return nil, false, smtp.ErrAuthFailed
		}
		return []byte("v=" + verifier), false, nil
	}
	return nil, true, nil
}

// scram computes the client's proof and the server's signature (RFC 5802, 3).
func scram(password string, salt []byte, turns int, authMessage string) (proof, verifier string, err error) {
	mac := func(key []byte, text string) []byte {
		h := hmac.New(sha256.New, key)
		h.Write([]byte(text))
		return h.Sum(nil)
	}
	salted, err := pbkdf2.Key(sha256.New, password, salt, turns, 32)
	if err != nil {
		return "", "", err
	}
	clientKey := mac(salted, "Client Key")
	stored := sha256.Sum256(clientKey)
	signature := mac(stored[:], authMessage)
	for i := range clientKey {
		clientKey[i] ^= signature[i]
	}
	enc := base64.StdEncoding
	return enc.EncodeToString(clientKey), enc.EncodeToString(mac(mac(salted, "Server Key"), authMessage)), nil
}

// The exchange of RFC 7677, section 3; the values are from memory, and hold
// together only if each is right.
func TestRFC7677Example(t *testing.T) {
	salt, err := base64.StdEncoding.DecodeString("W22ZaJ0SNY7soEsUEjb6gQ==")
	require.NoError(t, err)
	nonce := "rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0"
	proof, verifier, err := scram("pencil", salt, 4096, "n=user,r=rOprNGfwEbeRWgbNEkqO,r="+nonce+",s=W22ZaJ0SNY7soEsUEjb6gQ==,i=4096,c=biws,r="+nonce)
	require.NoError(t, err)
	require.Equal(t, "dHzbZapWIk4jUhN+Ute9ytag9zjfMHgsqmmiz7AndVQ=", proof)
	require.Equal(t, "6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4=", verifier)
}

func parse(t *testing.T, l letter) *netmail.Message {
	t.Helper()
	m, err := netmail.ReadMessage(strings.NewReader(l.text))
	require.NoError(t, err, "%s", l.text)
	return m
}
