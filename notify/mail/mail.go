// Package mail tells by e-mail: one message to one reader, handed to the
// operator's own mail server (RFC 6409) over TLS.
//
// A message has the same Message-ID at every try, made from its ID, so that a
// server or a mailbox can tell a second copy. Accepted means that the server has
// taken it on; whether it arrives, a bounce says later and elsewhere. Nothing is
// kept; after an error the caller sends again. A Mail is safe for concurrent use,
// makes a connection for every message and leaves nothing running.
package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"earlyage/notify/notice"
)

// How the way to the server is kept private.
const (
	StartTLS = "starttls" // STARTTLS (RFC 3207), and nothing is sent without it
	Implicit = "tls"      // TLS from the first byte (RFC 8314)
	None     = "none"     // in clear: on loopback alone
)

const sendWithin = 30 * time.Second

// Config makes a Mail.
type Config struct {
	Host     string         // of the mail server
	Port     int            // default 587; with Implicit 465; with None 25
	Security string         // StartTLS (default), Implicit or None
	Roots    *x509.CertPool // who vouches for the server; nil: the machine's

	User     string // empty: no login
	Password string

	From   string           // the sender, as "Name <address>" or an address
	Helo   string           // what the hub calls itself; default: the domain of From
	Within time.Duration    // one message; default 30 s
	Now    func() time.Time // for the Date; nil: time.Now
}

// ErrOurs is wrapped by errors that the hub's own settings cause: the login is
// refused, the sender is, the certificate does not hold. Trying again helps once
// somebody has mended that, so they do not wrap notice.ErrRefused.
var ErrOurs = errors.New("the mail server does not take mail from this hub")

// Mail is the channel.
type Mail struct {
	cfg    Config
	from   *netmail.Address
	domain string
}

// New checks the configuration. Its errors do not repeat the password.
func New(c Config) (*Mail, error) {
	from, err := parseAddress(c.From)
	if err != nil {
		return nil, fmt.Errorf("mail: field From: %w", err)
	}
	m := &Mail{cfg: c, from: from, domain: from.Address[strings.LastIndexByte(from.Address, '@')+1:]}
	if err := m.cfg.complete(m.domain); err != nil {
		return nil, fmt.Errorf("mail: %w", err)
	}
	if _, err := m.client(nil); err != nil {
		return nil, fmt.Errorf("mail: %w", err)
	}
	return m, nil
}

func (c *Config) complete(domain string) error {
	ports := map[string]int{StartTLS: 587, Implicit: 465, None: 25}
	if c.Security == "" {
		c.Security = StartTLS
	}
	port, ok := ports[c.Security]
	switch {
	case !ok:
		return fmt.Errorf("field Security is %q, allowed %s, %s, %s", c.Security, StartTLS, Implicit, None)
	case c.Host == "":
		return errors.New("field Host is empty")
	case c.Security == None && !loopback(c.Host):
		return fmt.Errorf("field Security: %s is for a server on loopback, not for %s", None, c.Host)
	case c.Port < 0 || c.Port > 65535:
		return fmt.Errorf("field Port is %d, allowed 1 to 65535", c.Port)
	case (c.User == "") != (c.Password == ""):
		return errors.New("a User and a Password go together")
	}
	if c.Port == 0 {
		c.Port = port
	}
	if c.Helo == "" {
		c.Helo = domain
	}
	if c.Within <= 0 {
		c.Within = sendWithin
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	return nil
}

// loopback reports whether a host is this machine by its address. A name could
// stand for anything, but localhost (RFC 6761).
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Name implements notice.Channel.
func (m *Mail) Name() string { return "mail" }

// Reaches implements notice.Channel.
func (m *Mail) Reaches(r notice.Reader) bool { return r.Mail != "" }

// Send implements notice.Channel.
func (m *Mail) Send(ctx context.Context, msg notice.Message) error {
	letter, err := m.compose(msg)
	if err != nil {
		return fmt.Errorf("message %s: %w", msg.ID, err)
	}
	ctx, cancel := context.WithTimeout(ctx, m.cfg.Within)
	defer cancel()
	if err := m.send(ctx, letter); err != nil {
		// From the moment that the server has taken it, what follows is of no matter.
		if letter.IsDelivered() {
			return nil
		}
		if ctx.Err() != nil {
			err = fmt.Errorf("%w: %w", ctx.Err(), err)
		}
		return fmt.Errorf("message %s: %w", msg.ID, m.bare(err, msg.To.Mail))
	}
	return nil
}

func (m *Mail) send(ctx context.Context, letter *gomail.Msg) error {
	var l line
	defer l.end()
	defer context.AfterFunc(ctx, l.end)() // the library asks a context only while it dials
	client, err := m.client(&l)
	if err != nil {
		return err
	}
	conn, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return judgeLogin(err)
	}
	if err := client.SendWithSMTPClient(conn, letter); err != nil {
		return judge(err)
	}
	// The server has it. Bidding farewell is good manners and no more.
	_ = client.CloseWithSMTPClient(conn)
	return nil
}

// client makes a client of its own for a message, because the library's keeps
// what it learnt of a connection.
func (m *Mail) client(l *line) (*gomail.Client, error) {
	opts := []gomail.Option{
		gomail.WithPort(m.cfg.Port), gomail.WithHELO(m.cfg.Helo), gomail.WithTimeout(m.cfg.Within), gomail.WithoutNoop(),
		gomail.WithTLSConfig(m.tls()), gomail.WithDialContextFunc(func(ctx context.Context, network, addr string) (net.Conn, error) {
			return l.dial(ctx, network, addr, m.implicit())
		}),
	}
	policy := gomail.NoTLS
	if m.cfg.Security == StartTLS {
		policy = gomail.TLSMandatory
	}
	opts = append(opts, gomail.WithTLSPolicy(policy))
	if m.cfg.User != "" {
		opts = append(opts, gomail.WithUsername(m.cfg.User), gomail.WithPassword(m.cfg.Password), gomail.WithOpportunisticSMTPAuth(m.mechanisms()...))
	}
	return gomail.NewClient(m.cfg.Host, opts...)
}

// mechanisms are the ways to log in, best first: those that do not give the
// password away, and then those that do, to a server that is certain.
func (m *Mail) mechanisms() []gomail.SMTPAuthType {
	list := []gomail.SMTPAuthType{gomail.SMTPAuthSCRAMSHA256, gomail.SMTPAuthSCRAMSHA1}
	if m.cfg.Security == None {
		return append(list, gomail.SMTPAuthPlainNoEnc, gomail.SMTPAuthLoginNoEnc)
	}
	return append(list, gomail.SMTPAuthPlain, gomail.SMTPAuthLogin)
}

func (m *Mail) tls() *tls.Config {
	return &tls.Config{ServerName: m.cfg.Host, RootCAs: m.cfg.Roots, MinVersion: tls.VersionTLS12}
}

func (m *Mail) implicit() *tls.Config {
	if m.cfg.Security == Implicit {
		return m.tls()
	}
	return nil
}
