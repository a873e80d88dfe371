package routes

import (
	"net/mail"
	"net/netip"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"earlyage/events"
)

// hook reads a web hook.
func (p *parser) hook(n *yaml.Node, field string) WebHook {
	t := p.table(n, field, "name", "url", "secret_file")
	h := WebHook{Place: Place{n.Line}}
	if w, ok := t.word("name", true, 100); ok {
		h.Name = w.text
		switch {
		case !events.IsToken(w.text) || !events.IsToken(hookPerson(w.text)):
			t.refuse(w.line, w.field, "%q; allowed: a-z, 0-9 and -, 1 to 35 characters", clip(w.text))
		case slices.ContainsFunc(p.hooks, func(o WebHook) bool { return o.Name == w.text }):
			t.refuse(w.line, w.field, "%q is the name of another hook", w.text)
		}
	}
	if w, ok := t.word("url", true, 2048); ok {
		if h.URL = w.text; !goodURL(w.text) {
			t.refuse(w.line, w.field, "allowed: an https address without user and password, or http on this machine alone")
		}
	}
	h.SecretFile = p.secretFile(t, "secret_file", true)
	return h
}

func goodURL(text string) bool {
	u, err := url.Parse(text)
	if err != nil || u.Hostname() == "" || u.User != nil || u.Fragment != "" {
		return false
	}
	return u.Scheme == "https" || u.Scheme == "http" && loopback(u.Hostname())
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// secretFile reads the path of a file that holds a secret; one that is not
// absolute is beside the route file.
func (p *parser) secretFile(t table, member string, need bool) string {
	w, ok := t.word(member, need, 1024)
	if !ok || filepath.IsAbs(w.text) {
		return w.text
	}
	return filepath.Join(filepath.Dir(p.file), w.text)
}

func (p *parser) mailServer(n *yaml.Node) *MailServer {
	t := p.table(n, "mail", "server", "port", "tls", "user", "password_file", "from")
	m := &MailServer{Place: Place{n.Line}}
	if w, ok := t.word("server", true, 253); ok {
		if m.Server = w.text; strings.ContainsAny(w.text, ":/@ []") && !isIP(w.text) {
			t.refuse(w.line, w.field, "%q; allowed: the name of a machine, or its address; the port stands beside it", clip(w.text))
		}
	}
	if w, ok := t.word("tls", true, 100); ok {
		if m.TLS = w.text; w.text != "starttls" && w.text != "implicit" {
			t.refuse(w.line, w.field, "%q; allowed: starttls, implicit", clip(w.text))
		}
	}
	m.Port = t.port(map[string]int{"implicit": 465}[m.TLS])
	user, _ := t.word("user", false, 254)
	m.User = user.text
	m.PasswordFile = p.secretFile(t, "password_file", m.User != "")
	if m.User == "" && t.members["password_file"] != nil && t.members["user"] == nil {
		t.refuse(t.lineOf("password_file"), t.at("password_file"), "and there is no user whose password it is")
	}
	if w, ok := t.word("from", true, 254); ok {
		m.From = w.text
		if a, err := mail.ParseAddress(w.text); err != nil || a.Address != w.text {
			t.refuse(w.line, w.field, "%q; allowed: an address such as a@site.example", clip(w.text))
		}
	}
	return m
}

func isIP(text string) bool {
	_, err := netip.ParseAddr(text)
	return err == nil
}

// port reads a port; not given it is the one of the way to speak, 587 (RFC 6409)
// or 465 (RFC 8314).
func (t table) port(def int) int {
	n := t.members["port"]
	if n == nil {
		if def == 0 {
			def = 587
		}
		return def
	}
	port, err := strconv.ParseUint(n.Value, 10, 16)
	if n.Kind != yaml.ScalarNode || n.ShortTag() != "!!int" || err != nil || port == 0 {
		t.refuse(n.Line, t.at("port"), "%s; allowed: a number from 1 to 65535", sort(n))
	}
	return int(port) // #nosec G115 -- 16 bits
}

func (p *parser) pushSender(n *yaml.Node) *PushSender {
	t := p.table(n, "push", "contact")
	s := &PushSender{Place: Place{n.Line}}
	w, ok := t.word("contact", true, 254)
	if !ok {
		return s
	}
	s.Contact = w.text
	address, isMail := strings.CutPrefix(w.text, "mailto:")
	if isMail {
		a, err := mail.ParseAddress(address)
		isMail = err == nil && a.Address == address
	}
	if u, err := url.Parse(w.text); !isMail && (err != nil || u.Scheme != "https" || u.Hostname() == "" || u.User != nil) {
		t.refuse(w.line, w.field, "%q; allowed: mailto: and an address, or an https address", clip(w.text))
	}
	return s
}

// hookPerson is the name under which a hook stands among those who are told.
func hookPerson(name string) string { return "hook-" + name }
