package mail

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"strings"

	gomail "github.com/wneessen/go-mail"

	"earlyage/notify/notice"
)

// judgeLogin says whose trouble it is that no server was there to take a message:
// the network's, or the hub's own settings'.
func judgeLogin(err error) error {
	var answer *textproto.Error
	var cert *tls.CertificateVerificationError
	var network net.Error
	switch {
	case errors.As(err, &answer):
		if answer.Code/100 != 5 {
			return err
		}
	case errors.As(err, &cert):
	case errors.As(err, &network), errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, net.ErrClosed):
		return err
	}
	return fmt.Errorf("%w: %w", ErrOurs, err)
}

// judge reads the answer to a message (RFC 5321, 4.2): 4xx may pass another time,
// 5xx to the recipient or the message is for good, and 5xx to the sender, to the
// login or to a command as such is ours to mend.
func judge(err error) error {
	var sent *gomail.SendError
	if !errors.As(err, &sent) || sent.ErrorCode()/100 != 5 {
		return err
	}
	switch sent.Reason {
	case gomail.ErrSMTPRcptTo, gomail.ErrSMTPData, gomail.ErrSMTPDataClose:
	default:
		return fmt.Errorf("%w: %w", ErrOurs, err)
	}
	switch sent.ErrorCode() {
	case 500, 501, 502, 503, 504, // the command
		530, 534, 535, 538: // the login (RFC 4954)
		return fmt.Errorf("%w: %w", ErrOurs, err)
	}
	return fmt.Errorf("%w: %w", notice.ErrRefused, err)
}

// bare takes out of an error what is nobody's business: the reader's address,
// which servers like to repeat, and the password.
func (m *Mail) bare(err error, address string) error {
	secrets := []string{"\r\n", " ", "\n", " ", address, "the reader's address"}
	if to, err := parseAddress(address); err == nil {
		secrets = append(secrets, to.Address, "the reader's address")
	}
	if m.cfg.Password != "" {
		secrets = append(secrets, m.cfg.Password, "***")
	}
	return &failure{text: strings.NewReplacer(secrets...).Replace(err.Error()), cause: err}
}

// failure is an error with another text.
type failure struct {
	text  string
	cause error
}

// Error implements error.
func (f *failure) Error() string { return f.text }

// Is lets the cause be recognized, and not be taken out.
func (f *failure) Is(target error) bool { return errors.Is(f.cause, target) }
