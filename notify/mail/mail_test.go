package mail_test

import (
	"crypto/x509"
	"encoding/base64"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	netmail "net/mail"
	"net/netip"
	"net/textproto"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"earlyage/notify/internal/conformance"
	"earlyage/notify/mail"
	"earlyage/notify/notice"
	"earlyage/testdata/loopback"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var noon = time.Date(2026, 7, 3, 12, 0, 0, 0, time.FixedZone("MST", -7*3600))

const address = "ines@crew.example"

var reader = notice.Reader{Person: "p-1", Name: "Inés, crew of “north”", Mail: address, Lang: "es"}

func newMail(t *testing.T, s *server, security string, set func(*mail.Config)) *mail.Mail {
	t.Helper()
	c := mail.Config{
		Host: "127.0.0.1", Port: s.addr.Port, Security: security, Roots: s.roots, User: user, Password: password,
		From: "Hub of the mill <hub@mill.example>", Now: func() time.Time { return noon },
	}
	if set != nil {
		set(&c)
	}
	m, err := mail.New(c)
	require.NoError(t, err)
	return m
}

func TestConformance(t *testing.T) {
	for _, security := range []string{mail.StartTLS, mail.Implicit, mail.None} {
		t.Run(security, func(t *testing.T) {
			conformance.Run(t, func(t *testing.T) conformance.Bench {
				s := serve(t, security)
				return conformance.Bench{
					Channel: newMail(t, s, security, nil), Reader: reader, Nobody: []notice.Reader{{Mail: "not an address"}, {Mail: "a@b.example, c@d.example"}},
					Set:     func(m conformance.Manner) { s.set(func() { s.manner = m }) },
					Reached: s.reached, Secrets: []string{address, password, base64.StdEncoding.EncodeToString([]byte(password))},
					Taken: func() (ids []string) {
						for _, l := range s.taken() {
							ids = append(ids, parse(t, l).Header.Get("Message-Id"))
						}
						return ids
					},
				}
			})
		})
	}
}

// What arrives, read with the standard library.
func TestLetter(t *testing.T) {
	s := serve(t, mail.StartTLS)
	m := newMail(t, s, mail.StartTLS, nil)
	msg := conformance.Message("m1", reader, "mail")
	msg.First = "Muro norte: la junta a 4.0 m, quedan 20 min"
	msg.Plain = "Línea uno\n\n.una línea con punto\nFrom aquí " + strings.Repeat("largo ", 300) + "\n"
	msg.Attach = []notice.Attachment{{Name: "hoja ñ/../x.ics", Type: "text/calendar; charset=utf-8; method=PUBLISH", Body: []byte("BEGIN:VCALENDAR\r\n")}}
	require.NoError(t, m.Send(t.Context(), msg))

	require.Len(t, s.taken(), 1)
	l := s.taken()[0]
	require.Equal(t, "hub@mill.example", l.from)
	require.Equal(t, []string{address}, l.to)
	require.True(t, l.tls)
	require.Equal(t, "PLAIN", l.auth)
	got := parse(t, l)
	from, err := got.Header.AddressList("From")
	require.NoError(t, err)
	require.Equal(t, []*netmail.Address{{Name: "Hub of the mill", Address: "hub@mill.example"}}, from)
	to, err := got.Header.AddressList("To")
	require.NoError(t, err)
	require.Equal(t, []*netmail.Address{{Name: reader.Name, Address: address}}, to)
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	require.NoError(t, err)
	require.Equal(t, msg.First, subject)
	date, err := got.Header.Date()
	require.NoError(t, err)
	require.True(t, date.Equal(noon))
	require.Regexp(t, `^<[0-9a-f]{40}@mill\.example>$`, got.Header.Get("Message-Id"))
	require.Equal(t, "auto-generated", got.Header.Get("Auto-Submitted"))
	require.Equal(t, "high", got.Header.Get("Importance"))
	require.Equal(t, "es", got.Header.Get("Content-Language"))
	for name := range got.Header {
		require.False(t, strings.HasPrefix(name, "X-"), name)
		require.NotContains(t, []string{"User-Agent", "Bcc"}, name)
	}

	parts := leaves(t, textproto.MIMEHeader(got.Header), got.Body)
	require.Len(t, parts, 3)
	require.Equal(t, "text/plain", parts[0].kind)
	require.Equal(t, msg.Plain, strings.ReplaceAll(parts[0].text, "\r\n", "\n"))
	require.Equal(t, "text/html", parts[1].kind)
	require.Equal(t, msg.HTML, strings.TrimSpace(parts[1].text))
	require.Equal(t, "text/calendar", parts[2].kind)
	require.Equal(t, "PUBLISH", parts[2].params["method"])
	require.Equal(t, "hoja ñ-..-x.ics", parts[2].name)
	require.Equal(t, "BEGIN:VCALENDAR\r\n", parts[2].text)

	plain := conformance.Message("m2", notice.Reader{Mail: address}, "mail")
	plain.HTML, plain.Urgent = "", false
	require.NoError(t, m.Send(t.Context(), plain))
	got = parse(t, s.taken()[1])
	require.Empty(t, got.Header.Get("Importance"))
	parts = leaves(t, textproto.MIMEHeader(got.Header), got.Body)
	require.Len(t, parts, 1)
	require.Equal(t, plain.Plain, strings.ReplaceAll(parts[0].text, "\r\n", "\n"))
}

type part struct {
	kind, name, text string
	params           map[string]string
}

// leaves reads a body down to its parts.
func leaves(t *testing.T, h textproto.MIMEHeader, body io.Reader) []part {
	t.Helper()
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	require.NoError(t, err)
	if strings.HasPrefix(kind, "multipart/") {
		var list []part
		r := multipart.NewReader(body, params["boundary"])
		for {
			p, err := r.NextRawPart()
			if errors.Is(err, io.EOF) {
				return list
			}
			require.NoError(t, err)
			list = append(list, leaves(t, p.Header, p)...)
		}
	}
	switch h.Get("Content-Transfer-Encoding") {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	text, err := io.ReadAll(body)
	require.NoError(t, err)
	p := part{kind: kind, params: params, text: string(text)}
	if _, disposition, err := mime.ParseMediaType(h.Get("Content-Disposition")); err == nil {
		p.name, err = new(mime.WordDecoder).DecodeHeader(disposition["filename"])
		require.NoError(t, err)
	}
	return []part{p}
}

// Nothing that a person typed begins a header, a command or another recipient.
func TestNothingIsInjected(t *testing.T) {
	s := serve(t, mail.StartTLS)
	m := newMail(t, s, mail.StartTLS, nil)
	for _, evil := range []string{"\r\nBcc: evil@x.example", "\nX-Evil: 1", "\r\n\r\nevil", "a\u2028Bcc: evil@x.example", "\x00\r\n.\r\nMAIL FROM:<evil@x.example>\r\n", "\x85X-Evil: 1", "=?utf-8?q?=0D=0AX-Evil:_1?="} {
		msg := conformance.Message("m"+evil, reader, "mail")
		msg.First, msg.Plain, msg.HTML = "F"+evil, "P"+evil, "H"+evil
		msg.To.Name, msg.To.Lang = "N"+evil, "en"+evil
		msg.Attach = []notice.Attachment{{Name: "a" + evil, Type: "text/plain", Body: []byte(evil)}}
		before := len(s.taken())
		require.NoError(t, m.Send(t.Context(), msg), "%q", evil)
		require.Len(t, s.taken(), before+1, "%q", evil)
		l := s.taken()[before]
		require.Equal(t, []string{address}, l.to)
		require.Equal(t, "hub@mill.example", l.from)
		got := parse(t, l)
		for _, name := range []string{"Bcc", "X-Evil", "Mail From"} {
			require.Empty(t, got.Header.Get(name), "%q in %s", evil, l.text)
		}
		for _, p := range leaves(t, textproto.MIMEHeader(got.Header), got.Body) {
			require.Contains(t, []string{"text/plain", "text/html"}, p.kind)
		}
	}
	for _, evil := range []string{address + "\r\nRCPT TO:<evil@x.example>", address + "\r\nBcc: evil@x.example", "\"a\r\nb\"@x.example", "<" + address + ">\x00", "\"a b\"@x.example"} {
		msg := conformance.Message("m1", notice.Reader{Mail: evil}, "mail")
		require.ErrorIs(t, m.Send(t.Context(), msg), notice.ErrRefused, "%q", evil)
	}
	msg := conformance.Message("m1", reader, "mail")
	msg.Attach = []notice.Attachment{{Name: "a", Type: "text/plain\r\nX-Evil: 1", Body: nil}}
	require.ErrorIs(t, m.Send(t.Context(), msg), notice.ErrRefused)
}

// Each way to log in, and the best of those that there are.
func TestLogin(t *testing.T) {
	for _, c := range []struct {
		security, want string
		offered        []string
	}{
		{mail.StartTLS, "PLAIN", []string{"PLAIN", "LOGIN"}},
		{mail.StartTLS, "LOGIN", []string{"LOGIN"}},
		{mail.StartTLS, "SCRAM-SHA-256", []string{"LOGIN", "PLAIN", "SCRAM-SHA-256"}},
		{mail.Implicit, "PLAIN", []string{"PLAIN"}},
		{mail.Implicit, "SCRAM-SHA-256", []string{"SCRAM-SHA-256"}},
		{mail.None, "PLAIN", []string{"PLAIN"}},
		{mail.None, "LOGIN", []string{"LOGIN"}},
		{mail.None, "SCRAM-SHA-256", []string{"PLAIN", "SCRAM-SHA-256"}},
	} {
		s := serve(t, c.security)
		s.set(func() { s.mechs = c.offered })
		m := newMail(t, s, c.security, nil)
		require.NoError(t, m.Send(t.Context(), conformance.Message("m1", reader, "mail")), "%v", c)
		require.Equal(t, c.want, s.taken()[0].auth, "%v", c)
		require.Equal(t, c.security != mail.None, s.taken()[0].tls || c.security == mail.Implicit)

		wrong := newMail(t, s, c.security, func(c *mail.Config) { c.Password = "another-word" })
		err := wrong.Send(t.Context(), conformance.Message("m2", reader, "mail"))
		require.ErrorIs(t, err, mail.ErrOurs, "%v", c)
		require.False(t, errors.Is(err, notice.ErrRefused), "a login is mended, and the message waits")
		require.NotContains(t, err.Error(), "another-word")
	}
	s := serve(t, mail.None)
	require.NoError(t, newMail(t, s, mail.None, func(c *mail.Config) { c.User, c.Password = "", "" }).Send(t.Context(), conformance.Message("m1", reader, "mail")))
	require.Empty(t, s.taken()[0].auth)
}

// Nothing is said to a server in clear, or to one that nobody vouches for.
func TestPrivacy(t *testing.T) {
	s := serve(t, mail.None) // knows no STARTTLS
	err := newMail(t, s, mail.StartTLS, nil).Send(t.Context(), conformance.Message("m1", reader, "mail"))
	require.ErrorIs(t, err, mail.ErrOurs)
	require.ErrorContains(t, err, "STARTTLS")
	for _, security := range []string{mail.StartTLS, mail.Implicit} {
		s := serve(t, security)
		m := newMail(t, s, security, func(c *mail.Config) { c.Roots = x509.NewCertPool() })
		err := m.Send(t.Context(), conformance.Message("m1", reader, "mail"))
		require.ErrorIs(t, err, mail.ErrOurs, security)
		require.ErrorContains(t, err, "certificate", security)
		require.Empty(t, s.taken())
		m = newMail(t, s, security, func(c *mail.Config) { c.Host = "localhost" })
		require.ErrorIs(t, m.Send(t.Context(), conformance.Message("m1", reader, "mail")), mail.ErrOurs, "a certificate of another name")
	}
}

// RFC 5321, 4.2.1: 4yz may be tried again, 5yz may not. Whose it is, the command
// says to which it is the answer.
func TestAnswers(t *testing.T) {
	s := serve(t, mail.StartTLS)
	m := newMail(t, s, mail.StartTLS, nil)
	answer := func(code int) error {
		return &smtp.SMTPError{Code: code, EnhancedCode: smtp.NoEnhancedCode, Message: "no"}
	}
	type verdict struct{ final, ours bool }
	check := func(where string, field *error, code int, want verdict) {
		s.set(func() { *field = answer(code) })
		err := m.Send(t.Context(), conformance.Message("m1", reader, "mail"))
		require.Error(t, err)
		require.Equal(t, want, verdict{errors.Is(err, notice.ErrRefused), errors.Is(err, mail.ErrOurs)}, "%s %d: %v", where, code, err)
		s.set(func() { *field = nil })
	}
	for _, code := range []int{421, 450, 451, 452, 454} {
		check("MAIL", &s.mailAs, code, verdict{})
		check("RCPT", &s.rcptAs, code, verdict{})
		check("DATA", &s.dataAs, code, verdict{})
	}
	for _, code := range []int{550, 551, 552, 553, 554, 556} {
		check("RCPT", &s.rcptAs, code, verdict{final: true})
		check("DATA", &s.dataAs, code, verdict{final: true})
		check("MAIL", &s.mailAs, code, verdict{ours: true})
	}
	for _, code := range []int{500, 503, 530, 535} {
		check("RCPT", &s.rcptAs, code, verdict{ours: true})
		check("DATA", &s.dataAs, code, verdict{ours: true})
	}
	require.Empty(t, s.taken())
}

// A server that is not there, or that says nothing, is trouble and no refusal.
func TestNoServer(t *testing.T) {
	s := serve(t, mail.StartTLS)
	at, err := loopback.Free()
	require.NoError(t, err)
	closed, err := netip.ParseAddrPort(at)
	require.NoError(t, err)
	err = newMail(t, s, mail.StartTLS, func(c *mail.Config) { c.Port = int(closed.Port()) }).Send(t.Context(), conformance.Message("m1", reader, "mail"))
	require.Error(t, err)
	require.False(t, errors.Is(err, notice.ErrRefused) || errors.Is(err, mail.ErrOurs), "%v", err)

	mute, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, mute.Close()) }()
	m := newMail(t, s, mail.StartTLS, func(c *mail.Config) { c.Port, c.Within = mute.Addr().(*net.TCPAddr).Port, 50*time.Millisecond })
	err = m.Send(t.Context(), conformance.Message("m1", reader, "mail"))
	require.Error(t, err)
	require.False(t, errors.Is(err, notice.ErrRefused) || errors.Is(err, mail.ErrOurs), "%v", err)
}

// What becomes of the connection once the server has said that it took the message
// is of no matter.
func TestServerLeavesAfterwards(t *testing.T) {
	for _, security := range []string{mail.StartTLS, mail.Implicit} {
		s := serve(t, security)
		s.set(func() { s.leaves = true })
		require.NoError(t, newMail(t, s, security, nil).Send(t.Context(), conformance.Message("m1", reader, "mail")))
		require.Len(t, s.taken(), 1)
	}
}

// The same message has the same Message-ID in another process too.
func TestMessageIDIsTheMessages(t *testing.T) {
	s := serve(t, mail.StartTLS)
	for range 2 {
		require.NoError(t, newMail(t, s, mail.StartTLS, nil).Send(t.Context(), conformance.Message("m1", reader, "mail")))
	}
	require.Equal(t, parse(t, s.taken()[0]).Header.Get("Message-Id"), parse(t, s.taken()[1]).Header.Get("Message-Id"))
}

func TestConfig(t *testing.T) {
	for want, c := range map[string]mail.Config{
		"field From: not an e-mail address":                  {Host: "mx.example", From: "hub"},
		"field Host is empty":                                {From: "hub@mill.example"},
		`field Security is "ssl", allowed starttls, tls`:     {Host: "mx.example", From: "hub@mill.example", Security: "ssl"},
		"none is for a server on loopback, not for 10.0.0.1": {Host: "10.0.0.1", From: "hub@mill.example", Security: mail.None},
		"field Port is 70000":                                {Host: "mx.example", From: "hub@mill.example", Port: 70000},
		"a User and a Password go together":                  {Host: "mx.example", From: "hub@mill.example", Password: password},
	} {
		_, err := mail.New(c)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), password)
	}
	for _, c := range []mail.Config{
		{Host: "mx.example", From: "hub@mill.example"}, {Host: "localhost", From: "hub@mill.example", Security: mail.None}, {Host: "::1", From: "hub@mill.example", Security: mail.None},
	} {
		_, err := mail.New(c)
		require.NoError(t, err)
	}
}
