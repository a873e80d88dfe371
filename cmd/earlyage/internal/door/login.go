package door

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
	"github.com/nats-io/nkeys"

	"earlyage/cmd/earlyage/internal/api"
	"earlyage/events"
	"earlyage/projector/cabinet"
)

func (d *Door) loginBegin(w http.ResponseWriter, r *http.Request) {
	var in struct{}
	if err := readJSON(r, &in); err != nil {
		d.answer(w, r, nil, err)
		return
	}
	if d.passkeys == nil {
		d.answer(w, r, nil, errNoPasskeys())
		return
	}
	options, data, err := d.passkeys.BeginDiscoverableLogin()
	if err != nil {
		d.answer(w, r, nil, fmt.Errorf("begin login: %w", err))
		return
	}
	d.begun(w, r, purposeLogin, options, ceremony{Data: *data})
}

func (d *Door) loginFinish(w http.ResponseWriter, r *http.Request) {
	person, err := d.finishLogin(r)
	d.enterPage(w, r, person, err)
}

// finishLogin proves a passkey and counts it.
func (d *Door) finishLogin(r *http.Request) (person string, err error) {
	var in finishing
	if err := readJSON(r, &in); err != nil {
		return "", err
	}
	if d.passkeys == nil {
		return "", errNoPasskeys()
	}
	c, use, err := d.resume(r, purposeLogin)
	if err != nil {
		return "", err
	}
	done, ok := d.limits.tries.try(addressOf(r), d.now())
	if !ok {
		return "", tooMany()
	}
	person, err = d.provePasskey(r, c, use, in.Credential)
	done(err != nil)
	return person, err
}

func (d *Door) provePasskey(r *http.Request, c ceremony, use func() bool, raw []byte) (string, error) {
	d.counting.Lock()
	defer d.counting.Unlock()
	parsed, err := protocol.ParseCredentialRequestResponseBytes(raw)
	if err != nil {
		return "", d.notAccepted(r, "", err)
	}
	var handle []byte
	user, credential, err := d.passkeys.ValidatePasskeyLogin(func(id, _ []byte) (webauthn.User, error) {
		h, err := d.holderBy(id)
		handle = h.handle
		return h, err
	}, c.Data, parsed)
	if err != nil {
		return "", d.notAccepted(r, "", err)
	}
	person := user.(holder).person
	switch {
	case !use():
		return "", errStale
	case credential.Authenticator.CloneWarning:
		d.config.Log.Warn("passkey counts backwards: it may have been copied", "person", person, "address", addressOf(r))
		return "", newProblem(http.StatusUnauthorized, "copied", "this passkey may have been copied; ask for a new invitation")
	case !d.employed(person):
		return "", newProblem(http.StatusForbidden, "no-role", "you have no role on any site here; ask whoever keeps the hub")
	}
	return person, d.putPasskey(person, kept{handle, *credential})
}

// holderBy finds whose passkey an id is. The handle is that of the passkey: the
// ceremony compares it with the one that the browser gives.
func (d *Door) holderBy(id []byte) (h holder, err error) {
	person, ok, err := d.config.Cabinet.PasskeyOwner(id)
	if err != nil {
		return h, err
	}
	if !ok {
		return h, errors.New("no such passkey")
	}
	records, err := d.config.Cabinet.Passkeys(person)
	if err != nil {
		return h, err
	}
	for _, record := range records {
		var k kept
		if err := json.Unmarshal(record, &k); err != nil {
			return h, fmt.Errorf("passkey of %s: %w", person, err)
		}
		if bytes.Equal(k.Credential.ID, id) {
			return holder{person: person, name: person, handle: k.Handle, credentials: []webauthn.Credential{k.Credential}}, nil
		}
	}
	return h, errors.New("no such passkey")
}

// enterPage begins the session of a person who has proven a passkey.
func (d *Door) enterPage(w http.ResponseWriter, r *http.Request, person string, err error) {
	if err == nil {
		_, _, err = d.enter(w, r, cabinet.Session{Person: person})
	}
	d.answer(w, r, entered{person, d.nameOf(person)}, err)
}

const (
	purposeNonce = "nonce"
	nonceTime    = time.Minute
)

func (d *Door) nonce(w http.ResponseWriter, r *http.Request) {
	d.answer(w, r, api.Nonce{Nonce: d.seal.make(purposeNonce, nil, d.now().Add(nonceTime))}, nil)
}

// session logs a device in.
func (d *Door) session(w http.ResponseWriter, r *http.Request) {
	var in api.DeviceLogin
	if err := readJSON(r, &in); err != nil {
		d.answer(w, r, nil, err)
		return
	}
	done, ok := d.limits.tries.try(addressOf(r), d.now())
	if !ok {
		d.answer(w, r, nil, tooMany())
		return
	}
	s, err := d.proveDevice(in)
	done(err != nil)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	token, until, err := d.enter(w, r, s)
	d.answer(w, r, api.Session{Token: token, Until: until}, err)
}

// proveDevice checks a device's signature. Whether there is such a device is
// not told: without its key there is nothing to ask for.
func (d *Door) proveDevice(in api.DeviceLogin) (s cabinet.Session, err error) {
	no := newProblem(http.StatusUnauthorized, api.CodeSignature, "the signature is not that of this device's key for this hub")
	_, until, err := d.seal.open(purposeNonce, in.Nonce, d.now())
	if err != nil {
		return s, err
	}
	dev, ok := d.config.Register().Device(events.Source{Site: in.Site, Device: in.Device})
	key, current := dev.Current()
	if !ok || !current {
		return s, no
	}
	signature, err := base64.RawURLEncoding.Strict().DecodeString(in.Signature)
	if err != nil || !d.signed(key.Public, in.Nonce, signature) {
		return s, no
	}
	if !d.seal.use(in.Nonce, until, d.now()) {
		return s, errStale
	}
	s = cabinet.Session{Person: dev.Person, Device: dev.Source}
	if _, ok := d.admitted(s); !ok {
		return s, no
	}
	return s, nil
}

// signed tries the names of this place. The device signs where it wants to log
// in to as it knows it: a hub that hands on another's nonce gets a signature that
// the other does not take.
func (d *Door) signed(public, nonce string, signature []byte) bool {
	key, err := nkeys.FromPublicKey(public)
	if err != nil {
		return false
	}
	for _, origin := range d.origins {
		if key.Verify(api.SessionProof(nonce, origin), signature) == nil {
			return true
		}
	}
	return false
}

// leave ends the session that the request came with, if there is one.
func (d *Door) leave(w http.ResponseWriter, r *http.Request) {
	if token := tokenOf(r); token != "" {
		if err := d.config.Cabinet.End(token); err != nil {
			d.answer(w, r, nil, err)
			return
		}
	}
	if c := CallerOf(r.Context()); c.Known() {
		d.config.Log.Info("signed out", "who", c)
	}
	dropCookie(w, cookieName)
	w.WriteHeader(http.StatusNoContent)
}
