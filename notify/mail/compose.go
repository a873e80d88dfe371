package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"mime"
	netmail "net/mail"
	"strings"
	"unicode"

	gomail "github.com/wneessen/go-mail"

	"earlyage/notify/notice"
)

const (
	subjectMost = 200 // characters
	nameMost    = 100
)

// compose makes the e-mail of a message.
func (m *Mail) compose(msg notice.Message) (*gomail.Msg, error) {
	to, err := parseAddress(msg.To.Mail)
	if err != nil {
		return nil, fmt.Errorf("the reader's address: %w: %w", err, notice.ErrRefused)
	}
	if to.Name == "" {
		to.Name = oneLine(msg.To.Name, nameMost)
	}
	l := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	l.FromMailAddress(m.from)
	l.ToMailAddress(to)
	l.Subject(oneLine(msg.First, subjectMost))
	l.SetDateWithValue(m.cfg.Now())
	l.SetMessageIDWithValue(messageID(msg.ID, m.domain))
	l.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no robot answers
	if msg.Urgent {
		l.SetGenHeader(gomail.HeaderImportance, "high") // RFC 4021, 2.1.54
	}
	if msg.To.Lang != "" {
		l.SetGenHeader("Content-Language", oneLine(msg.To.Lang, nameMost))
	}
	plain := msg.Plain
	if plain == "" {
		plain = msg.First
	}
	l.SetBodyString(gomail.TypeTextPlain, plain)
	if msg.HTML != "" {
		l.AddAlternativeString(gomail.TypeTextHTML, msg.HTML)
	}
	for _, a := range msg.Attach {
		if err := attach(l, a); err != nil {
			return nil, fmt.Errorf("attachment %q: %w: %w", a.Name, err, notice.ErrRefused)
		}
	}
	return l, nil
}

func attach(l *gomail.Msg, a notice.Attachment) error {
	kind, params, err := mime.ParseMediaType(a.Type)
	if err != nil {
		return err
	}
	name := oneLine(strings.NewReplacer("/", "-", `\`, "-", `"`, "'").Replace(a.Name), nameMost)
	if name == "" {
		return errors.New("it has no name")
	}
	return l.AttachReader(name, bytes.NewReader(a.Body), gomail.WithFileContentType(gomail.ContentType(mime.FormatMediaType(kind, params))))
}

// messageID makes a Message-ID (RFC 5322, 3.6.4), without its brackets.
func messageID(id, domain string) string {
	sum := sha256.Sum256([]byte(id))
	return hex.EncodeToString(sum[:20]) + "@" + domain
}

// parseAddress reads one address, and no more than one.
func parseAddress(text string) (*netmail.Address, error) {
	if strings.ContainsFunc(text, unicode.IsControl) {
		return nil, errors.New("not an e-mail address")
	}
	a, err := netmail.ParseAddress(text)
	if err != nil || strings.ContainsAny(a.Address, " <>\"") {
		return nil, errors.New("not an e-mail address")
	}
	return a, nil
}

// oneLine makes of a text one line of limited length, which cannot begin another
// header.
func oneLine(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.In(r, unicode.Zl, unicode.Zp, unicode.Bidi_Control) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) > most {
		runes = append(runes[:most-1], '…')
	}
	return string(runes)
}
