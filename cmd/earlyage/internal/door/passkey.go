package door

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"earlyage/cmd/earlyage/internal/roster"
	"earlyage/projector/cabinet"
)

const (
	// ceremonyTime is how long a person may take over a passkey.
	ceremonyTime = 5 * time.Minute

	purposeRegister = "register"
	purposeLogin    = "login"
)

// kept is a passkey as the cabinet keeps it. The handle is that of its making:
// the person's may have changed since.
type kept struct {
	Handle     []byte
	Credential webauthn.Credential
}

// holder is a person as the ceremonies know one.
type holder struct {
	person, name string
	handle       []byte
	credentials  []webauthn.Credential
}

func (h holder) WebAuthnID() []byte                         { return h.handle }
func (h holder) WebAuthnName() string                       { return h.name }
func (h holder) WebAuthnDisplayName() string                { return h.name }
func (h holder) WebAuthnCredentials() []webauthn.Credential { return h.credentials }

// ceremony is what a browser brings back, sealed, in a cookie: it can be
// finished only where it was begun.
type ceremony struct {
	Data   webauthn.SessionData
	Person string `json:",omitempty"`
	Fresh  bool   `json:",omitempty"` // the person's earlier passkeys and sessions end
}

// beginning is the body of POST /api/v1/passkey/register/begin.
type beginning struct {
	Code  string `json:"code"`
	Fresh bool   `json:"fresh,omitzero"`
}

// finishing is the body of POST /api/v1/passkey/…/finish; the credential is
// what the browser gives, in the JSON form of Web Authentication Level 3.
type finishing struct {
	Code       string         `json:"code,omitzero"`
	Credential jsontext.Value `json:"credential"`
}

// entered answers a finished ceremony.
type entered struct {
	Person string `json:"person"`
	Name   string `json:"name,omitzero"`
}

func errNoPasskeys() error {
	return newProblem(http.StatusConflict, "no-passkeys", "passkeys need the hub to be reached by https and by a name, not by a number")
}

func errPasskey() error {
	return newProblem(http.StatusUnauthorized, "passkey", "this passkey was not accepted")
}

// invited looks a code up, for a page; a wrong one counts as a try.
func (d *Door) invited(r *http.Request, code string) (cabinet.Invitation, error) {
	done, ok := d.limits.tries.try(addressOf(r), d.now())
	if !ok {
		return cabinet.Invitation{}, tooMany()
	}
	inv, err := d.config.Cabinet.Peek(code)
	if err == nil && !d.stands(inv) {
		err = cabinet.ErrNoInvitation
	}
	done(err != nil)
	return inv, err
}

// stands says that who invites and who is invited have a role still.
func (d *Door) stands(inv cabinet.Invitation) bool {
	return (inv.By == "" || d.employed(inv.By)) && (inv.Person == "" || d.employed(inv.Person))
}

// holderOf reads what is known of a person's passkeys.
func (d *Door) holderOf(person string) (h holder, err error) {
	h.person = person
	if h.handle, err = d.config.Cabinet.UserHandle(person); err != nil {
		return h, err
	}
	h.name = d.nameOf(person)
	records, err := d.config.Cabinet.Passkeys(person)
	if err != nil {
		return h, err
	}
	for _, record := range records {
		var k kept
		if err := json.Unmarshal(record, &k); err != nil {
			return h, fmt.Errorf("passkey of %s: %w", person, err)
		}
		h.credentials = append(h.credentials, k.Credential)
	}
	return h, nil
}

// nameOf gives a person's name; the id where the name was erased.
func (d *Door) nameOf(person string) string {
	card, err := d.config.Cabinet.Card(person)
	if err != nil {
		d.config.Log.Error("card", "person", person, "error", err)
	}
	if card.Name == "" {
		return person
	}
	return card.Name
}

func (d *Door) registerBegin(w http.ResponseWriter, r *http.Request) {
	var in beginning
	if err := readJSON(r, &in); err != nil {
		d.answer(w, r, nil, err)
		return
	}
	options, c, err := d.beginRegister(r, in)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	d.begun(w, r, purposeRegister, options, c)
}

func (d *Door) beginRegister(r *http.Request, in beginning) (*protocol.CredentialCreation, ceremony, error) {
	if d.passkeys == nil {
		return nil, ceremony{}, errNoPasskeys()
	}
	inv, err := d.invited(r, in.Code)
	if err != nil {
		return nil, ceremony{}, err
	}
	if inv.Sort != roster.Page {
		return nil, ceremony{}, newProblem(http.StatusConflict, "other-sort", "this invitation is for a device's own key, not for a passkey")
	}
	h, err := d.holderOf(inv.Person)
	if err != nil {
		return nil, ceremony{}, err
	}
	var options []webauthn.RegistrationOption
	if !in.Fresh {
		options = append(options, webauthn.WithExclusions(webauthn.Credentials(h.credentials).CredentialDescriptors()))
	}
	creation, data, err := d.passkeys.BeginRegistration(h, options...)
	if err != nil {
		return nil, ceremony{}, fmt.Errorf("begin passkey: %w", err)
	}
	return creation, ceremony{Data: *data, Person: inv.Person, Fresh: in.Fresh}, nil
}

// begun answers the begin of a ceremony: the options for the browser, and the
// ceremony in a cookie that comes back from this hub's own pages alone.
func (d *Door) begun(w http.ResponseWriter, r *http.Request, purpose string, options any, c ceremony) {
	public, err := json.Marshal(options)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	content, err := json.Marshal(c)
	if err != nil {
		d.answer(w, r, nil, err)
		return
	}
	setCookie(w, tryName, d.seal.make(purpose, content, d.now().Add(ceremonyTime)), ceremonyTime, http.SameSiteStrictMode)
	d.answer(w, r, jsontext.Value(public), nil)
}

// resume opens the ceremony that a request brings back.
func (d *Door) resume(r *http.Request, purpose string) (c ceremony, use func() bool, err error) {
	cookie, err := r.Cookie(tryName)
	if err != nil {
		return c, nil, errStale
	}
	content, until, err := d.seal.open(purpose, cookie.Value, d.now())
	if err != nil {
		return c, nil, err
	}
	if err := json.Unmarshal(content, &c); err != nil {
		return c, nil, errStale
	}
	return c, func() bool { return d.seal.use(cookie.Value, until, d.now()) }, nil
}

func (d *Door) registerFinish(w http.ResponseWriter, r *http.Request) {
	person, err := d.finishRegister(r)
	d.enterPage(w, r, person, err)
}

// finishRegister spends the code for a passkey. What is not accepted gives the
// code back.
func (d *Door) finishRegister(r *http.Request) (person string, err error) {
	var in finishing
	if err := readJSON(r, &in); err != nil {
		return "", err
	}
	if d.passkeys == nil {
		return "", errNoPasskeys()
	}
	c, use, err := d.resume(r, purposeRegister)
	if err != nil {
		return "", err
	}
	done, ok := d.limits.tries.try(addressOf(r), d.now())
	if !ok {
		return "", tooMany()
	}
	err = d.config.Cabinet.Redeem(in.Code, func(inv cabinet.Invitation) error {
		if inv.Sort != roster.Page || inv.Person != c.Person || !d.stands(inv) {
			return cabinet.ErrNoInvitation
		}
		return d.keepPasskey(r, inv, c, use, in.Credential)
	})
	done(err != nil)
	return c.Person, err
}

// keepPasskey proves a new passkey, puts it on the record and keeps it. After a
// crash between the steps of a fresh start the person has none, and needs another
// invitation.
func (d *Door) keepPasskey(r *http.Request, inv cabinet.Invitation, c ceremony, use func() bool, raw []byte) error {
	parsed, err := protocol.ParseCredentialCreationResponseBytes(raw)
	if err != nil {
		return d.notAccepted(r, c.Person, err)
	}
	credential, err := d.passkeys.CreateCredential(holder{person: c.Person, handle: c.Data.UserID}, c.Data, parsed)
	if err != nil {
		return d.notAccepted(r, c.Person, err)
	}
	if !use() {
		return errStale
	}
	if _, taken, err := d.config.Cabinet.PasskeyOwner(credential.ID); err != nil || taken {
		return errors.Join(err, errPasskey())
	}
	if c.Fresh {
		if err := d.config.Roster.PasskeysEnded(r.Context(), inv.By, c.Person, "begun afresh on another device"); err != nil {
			return err
		}
		if err := d.config.Cabinet.DropPasskeys(c.Person); err != nil {
			return err
		}
		if err := d.config.Cabinet.EndOf(c.Person); err != nil {
			return err
		}
	}
	if err := d.config.Roster.PasskeyMade(r.Context(), inv.By, c.Person); err != nil {
		return err
	}
	return d.putPasskey(c.Person, kept{c.Data.UserID, *credential})
}

func (d *Door) putPasskey(person string, k kept) error {
	record, err := json.Marshal(k)
	if err != nil {
		return fmt.Errorf("passkey of %s: %w", person, err)
	}
	return d.config.Cabinet.PutPasskey(person, k.Credential.ID, record)
}

// notAccepted says in the log which rule a passkey did not keep, without any of
// its values, and to the one who asked only that it was not accepted.
func (d *Door) notAccepted(r *http.Request, person string, err error) error {
	why := "unreadable"
	var p *protocol.Error
	if errors.As(err, &p) {
		why = p.Type
	}
	d.config.Log.Info("passkey not accepted", "person", person, "address", addressOf(r), "rule", why)
	return errPasskey()
}
