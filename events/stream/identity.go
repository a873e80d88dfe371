package stream

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"earlyage/events"
)

// Identity is a device's own key: it answers a server's nonce and signs bodies.
// Whoever has the seed is the device.
type Identity struct {
	Source events.Source
	Person string // whose device it is; empty: nobody's
	Seed   string // seed of a NATS user nkey (SU...)
}

// NewIdentity makes a key for a device.
func NewIdentity(src events.Source, person string) (Identity, error) {
	pair, err := nkeys.CreateUser()
	if err != nil {
		return Identity{}, fmt.Errorf("make a key for %s: %w", src, err)
	}
	seed, err := pair.Seed()
	if err != nil {
		return Identity{}, fmt.Errorf("make a key for %s: %w", src, err)
	}
	id := Identity{Source: src, Person: person, Seed: string(seed)}
	return id, id.check()
}

// savedIdentity is the form of the file.
type savedIdentity struct {
	Source string `json:"source"`
	Person string `json:"person,omitzero"`
	Seed   string `json:"seed"`
}

const identityMost = 64 << 10 // bytes of a file

// LoadIdentity reads an identity. A file that others than its owner may read is
// refused: the key may be known.
func LoadIdentity(path string) (Identity, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Identity{}, fmt.Errorf("load identity: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return Identity{}, fmt.Errorf("load identity %s: others may read it (mode %04o); its mode must be 0600", path, info.Mode().Perm())
	}
	if info.Size() > identityMost {
		return Identity{}, fmt.Errorf("load identity %s: %d bytes, allowed %d", path, info.Size(), identityMost)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return Identity{}, fmt.Errorf("load identity: %w", err)
	}
	var saved savedIdentity
	if err := json.Unmarshal(text, &saved); err != nil {
		return Identity{}, fmt.Errorf("load identity %s: not an identity's JSON", path) // the cause could quote the seed
	}
	id := Identity{Person: saved.Person, Seed: saved.Seed}
	if id.Source, err = events.ParseSource(saved.Source); err != nil {
		return Identity{}, fmt.Errorf("load identity %s: %w", path, err)
	}
	if err := id.check(); err != nil {
		return Identity{}, fmt.Errorf("load identity %s: %w", path, err)
	}
	return id, nil
}

// Save writes the identity, readable for its owner alone. After a crash the file
// is the old one or the new one.
func (id Identity) Save(path string) (err error) {
	if err := id.check(); err != nil {
		return fmt.Errorf("save identity %s: %w", path, err)
	}
	text, err := json.Marshal(savedIdentity{id.Source.String(), id.Person, id.Seed})
	if err != nil {
		return fmt.Errorf("save identity %s: %w", path, err)
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".identity-*") // its mode is 0600
	if err != nil {
		return fmt.Errorf("save identity: %w", err)
	}
	defer func() {
		if removeErr := os.Remove(f.Name()); !errors.Is(removeErr, fs.ErrNotExist) {
			err = errors.Join(err, removeErr)
		}
	}()
	_, err = f.Write(append(text, '\n'))
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("save identity: %w", err)
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return fmt.Errorf("save identity: %w", err)
	}
	return syncDir(dir)
}

// syncDir makes a rename in a folder last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("sync folder %s: %w", dir, err)
	}
	return nil
}

func (id Identity) check() error {
	if _, err := events.ParseSource(id.Source.String()); err != nil {
		return err
	}
	if id.Person != "" && !events.IsToken(id.Person) {
		return fmt.Errorf("person %q is not a name of a-z, 0-9 and -", id.Person)
	}
	public, err := id.Public()
	if err == nil && !nkeys.IsValidPublicUserKey(public) {
		return errors.New("the seed is not one of a user")
	}
	return err
}

func (id Identity) pair() (nkeys.KeyPair, error) {
	pair, err := nkeys.FromSeed([]byte(id.Seed))
	if err != nil {
		return nil, fmt.Errorf("key of %s: %w", id.Source, err)
	}
	return pair, nil
}

// Public is the public key (U...).
func (id Identity) Public() (string, error) {
	pair, err := id.pair()
	if err != nil {
		return "", err
	}
	public, err := pair.PublicKey()
	if err != nil {
		return "", fmt.Errorf("key of %s: %w", id.Source, err)
	}
	return public, nil
}

// Key is the private key as Sign takes it.
func (id Identity) Key() (ed25519.PrivateKey, error) {
	_, raw, err := nkeys.DecodeSeed([]byte(id.Seed))
	if err != nil {
		return nil, fmt.Errorf("key of %s: %w", id.Source, err)
	}
	return ed25519.NewKeyFromSeed(raw), nil
}

// Sign returns the value of SignatureHeader for a body; empty if the identity
// has no usable key.
func (id Identity) Sign(body []byte) string {
	key, err := id.Key()
	if err != nil {
		return ""
	}
	return Sign(key, body)
}

// PublicKeyOf gives the Ed25519 key of a public nkey (U...), as Verify takes it.
func PublicKeyOf(public string) (ed25519.PublicKey, error) {
	raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(public))
	if err != nil {
		return nil, fmt.Errorf("public key %q: %w", public, err)
	}
	if len(raw) != ed25519.PublicKeySize {
		return nil, fmt.Errorf("public key %q: %d bytes", public, len(raw))
	}
	return ed25519.PublicKey(raw), nil
}

// Options are those of a connection as this device: it answers the nonce, and
// its inbox is the device's own.
func (id Identity) Options() ([]nats.Option, error) {
	if err := id.check(); err != nil {
		return nil, err
	}
	public, err := id.Public()
	if err != nil {
		return nil, err
	}
	sign := func(nonce []byte) ([]byte, error) {
		pair, err := id.pair()
		if err != nil {
			return nil, err
		}
		return pair.Sign(nonce)
	}
	return []nats.Option{nats.Nkey(public, sign), nats.CustomInboxPrefix(InboxPrefix(id.Source))}, nil
}

// DialAs is Dial as a device. A url that begins with tls:// or wss:// is
// encrypted from the first byte; opts are added last (nats.Secure with roots of
// one's own).
func DialAs(url, name string, log *slog.Logger, id Identity, opts ...nats.Option) (*nats.Conn, error) {
	own, err := id.Options()
	if err != nil {
		return nil, fmt.Errorf("connect: %w", err)
	}
	if strings.HasPrefix(url, "tls://") {
		own = append(own, nats.TLSHandshakeFirst())
	}
	return Dial(url, name, log, append(own, opts...)...)
}
