package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"strings"
	"time"

	"earlyage/cmd/earlyage/internal/door"
	"earlyage/notify/hook"
	"earlyage/notify/lookout"
	"earlyage/notify/mail"
	"earlyage/notify/notice"
)

type lookoutCmd struct {
	Listen     string `default:"127.0.0.1:8483" help:"Where heartbeats come in. A proxy in front gives it an https address, or --tls-cert does."`
	SecretFile string `required:"" type:"path" placeholder:"FILE" help:"What signs the heartbeats (whsec_ and base64); the hub's --beat-secret. Made where it is missing."`
	Name       string `default:"the hub" help:"What messages call the hub."`
	Zone       string `default:"UTC" help:"Time zone of messages, such as Europe/Oslo."`
	TLSCert    string `name:"tls-cert" type:"path" placeholder:"FILE" help:"Certificate, with its chain (PEM)."`
	TLSKey     string `name:"tls-key" type:"path" placeholder:"FILE" help:"Its key (PEM)."`

	To               []string `placeholder:"ADDRESS" help:"Whom to tell by mail." group:"Mail"`
	MailServer       string   `placeholder:"HOST" help:"Where mail is handed in." group:"Mail"`
	MailPort         int      `placeholder:"PORT" help:"Default 587; with --mail-tls=tls 465." group:"Mail"`
	MailTLS          string   `name:"mail-tls" default:"starttls" enum:"starttls,tls,none" placeholder:"starttls|tls|none" help:"none: only on this machine." group:"Mail"`
	MailFrom         string   `placeholder:"ADDRESS" help:"The sender." group:"Mail"`
	MailUser         string   `help:"Empty: no login." group:"Mail"`
	MailPasswordFile string   `type:"path" placeholder:"FILE" help:"The user's password." group:"Mail"`

	Hook           string `placeholder:"URL" help:"A web hook to tell." group:"Web hook"`
	HookSecretFile string `type:"path" placeholder:"FILE" help:"What signs it." group:"Web hook"`

	Log     string `default:"text" enum:"text,json" placeholder:"text|json" help:"Form of the log, on the standard error."`
	Verbose bool   `short:"v" help:"Log more."`
}

// Run implements the command.
func (c lookoutCmd) Run(ctx context.Context, con console) error {
	if (c.TLSCert == "") != (c.TLSKey == "") {
		return usagef("lookout: --tls-cert and --tls-key go together")
	}
	zone, err := time.LoadLocation(c.Zone)
	if err != nil || c.Zone == "Local" {
		return usagef("zone: %q; allowed: an IANA time zone, such as Europe/Oslo", c.Zone)
	}
	channels, readers, err := c.channels()
	if err != nil {
		return err
	}
	secrets, err := c.secret(con)
	if err != nil {
		return err
	}
	log := logger(con.Err, c.Log, c.Verbose)
	l, err := lookout.New(lookout.Config{Hub: c.Name, Secrets: secrets, Readers: readers, Channels: channels, Zone: zone, Log: log})
	if err != nil {
		return usagef("%w", err)
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("lookout: %w", err)
	}
	fmt.Fprintf(con.Out, "The lookout expects the heartbeats of %s at %s.\n", c.Name, listener.Addr())
	server := door.NewServer(l, log)
	ended := make(chan error, 1)
	go func() {
		if c.TLSCert != "" {
			ended <- server.ServeTLS(listener, c.TLSCert, c.TLSKey)
			return
		}
		ended <- server.Serve(listener)
	}()
	return watchFor(ctx, l, server, ended)
}

// watchFor tells until ctx ends, or nobody listens any more.
func watchFor(ctx context.Context, l *lookout.Lookout, server *http.Server, ended <-chan error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	telling := make(chan error, 1)
	go func() { telling <- l.Run(ctx) }()
	var err error
	select {
	case <-ctx.Done():
		stop, end := context.WithTimeout(context.Background(), 10*time.Second)
		defer end()
		err = server.Shutdown(stop)
		<-ended
	case err = <-ended:
		err = fmt.Errorf("lookout: %w", err)
	}
	cancel()
	return errors.Join(err, <-telling)
}

// channels are those that the flags set up, and whom they reach.
func (c lookoutCmd) channels() (list []notice.Channel, readers []notice.Reader, err error) {
	if len(c.To) > 0 {
		password := ""
		if c.MailPasswordFile != "" {
			if password, err = secretFile(c.MailPasswordFile); err != nil {
				return nil, nil, err
			}
		}
		m, err := mail.New(mail.Config{Host: c.MailServer, Port: c.MailPort, Security: c.MailTLS, From: c.MailFrom, User: c.MailUser, Password: password})
		if err != nil {
			return nil, nil, usagef("%w", err)
		}
		list = append(list, m)
		for _, to := range c.To {
			readers = append(readers, notice.Reader{Person: to, Name: to, Mail: to})
		}
	}
	if c.Hook != "" {
		secret, err := secretFile(c.HookSecretFile)
		if err != nil {
			return nil, nil, err
		}
		h, err := hook.New(hook.Config{Targets: []hook.Target{{Name: "lookout", URL: c.Hook, Secrets: strings.Fields(secret)}}})
		if err != nil {
			return nil, nil, usagef("%w", err)
		}
		list = append(list, h)
		readers = append(readers, notice.Reader{Person: "hook", Name: "the web hook", Hooks: []string{"lookout"}})
	}
	if len(readers) == 0 {
		return nil, nil, usagef("lookout: nobody to tell; give --to with --mail-server and --mail-from, or --hook with --hook-secret-file")
	}
	return list, readers, nil
}

// secret reads the secrets of the heartbeats, and makes the first one.
func (c lookoutCmd) secret(con console) ([]string, error) {
	text, err := secretFile(c.SecretFile)
	if errors.Is(err, os.ErrNotExist) {
		text = hook.NewSecret()
		if err = os.WriteFile(c.SecretFile, []byte(text+"\n"), 0o600); err == nil {
			fmt.Fprintf(con.Out, "Made the secret %s. The hub needs the same file: serve --beat URL --beat-secret FILE.\n", c.SecretFile)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("lookout: %w", err)
	}
	return strings.Fields(text), nil
}

// secretFile reads a file that holds a secret.
func secretFile(path string) (string, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	secret := strings.TrimSpace(string(text))
	if secret == "" {
		return "", fmt.Errorf("%s holds no secret", path)
	}
	return secret, nil
}
