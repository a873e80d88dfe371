package push

import (
	"crypto/ecdh"
	"encoding/base64"
	"errors"
	"fmt"
	"net/mail"
	"strings"

	"earlyage/notify/hook/post"
	"earlyage/notify/notice"
)

// Keys are those that the hub shows to push services (RFC 8292), on the curve
// P-256, in base64url. The public one is what a page subscribes with.
type Keys struct {
	Public  string // 65 bytes
	Private string // 32 bytes
}

func (k Keys) check() error {
	raw, err := base64.RawURLEncoding.DecodeString(k.Private)
	if err != nil {
		return errors.New("the private key is not base64url")
	}
	key, err := ecdh.P256().NewPrivateKey(raw)
	if err != nil {
		return errors.New("the private key is not one of P-256")
	}
	if base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes()) != k.Public {
		return errors.New("the public key does not belong to the private one")
	}
	return nil
}

// checkSubscription says what is wrong with what a browser gave, without
// repeating it.
func checkSubscription(s notice.Push) error {
	if err := post.CheckURL(s.Endpoint); err != nil {
		return fmt.Errorf("endpoint: %w", err)
	}
	point, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(s.P256DH, "="))
	if err != nil {
		return errors.New("key is not base64url")
	}
	if _, err := ecdh.P256().NewPublicKey(point); err != nil {
		return errors.New("key is not a point of P-256")
	}
	secret, err := base64.RawURLEncoding.DecodeString(strings.TrimRight(s.Auth, "="))
	if err != nil || len(secret) != 16 {
		return errors.New("authentication secret is not 16 bytes of base64url")
	}
	return nil
}

const mailto = "mailto:"

func checkContact(text string) error {
	address, ok := strings.CutPrefix(text, mailto)
	if !ok {
		if err := post.CheckURL(text); err != nil {
			return fmt.Errorf("neither %s nor a URL: %w", mailto, err)
		}
		return nil
	}
	if a, err := mail.ParseAddress(address); err != nil || a.Address != address {
		return errors.New("not an e-mail address")
	}
	return nil
}

// subscriber is the contact as the library wants it, which writes mailto: itself.
func subscriber(contact string) string { return strings.TrimPrefix(contact, mailto) }
