package cabinet

import (
	"bytes"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"net/netip"
	"net/url"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"earlyage/events"
)

// MaxPushes is how many browsers of one person are kept: one more, and the one
// that was added first goes.
const MaxPushes = 10

// maxEndpoint is the greatest length of an endpoint in bytes.
const maxEndpoint = 2048

// ErrBadPush: a subscription cannot be one. The error says which member, and
// nothing of its value.
var ErrBadPush = errors.New("no subscription to push messages")

var pushBucket = []byte("push")

// Push is where one browser of a person is reached (RFC 8030), with its keys
// (RFC 8291), both in base64url. Whoever knows the endpoint alone can send nothing
// that the browser would show, but it says where somebody is: it hides itself in
// logs and errors.
type Push struct {
	Device   events.Source `json:"device,omitzero"` // zero: a page
	Endpoint string        `json:"endpoint"`
	P256DH   string        `json:"p256dh"` // public key, 65 bytes
	Auth     string        `json:"auth"`   // secret, 16 bytes
	Made     time.Time     `json:"made"`   // given by AddPush
}

// String implements fmt.Stringer; it shows the device alone.
func (p Push) String() string { return "(push to " + p.Device.String() + ")" }

// GoString implements fmt.GoStringer; it shows the device alone.
func (p Push) GoString() string { return p.String() }

// LogValue implements slog.LogValuer; it shows the device alone.
func (p Push) LogValue() slog.Value { return slog.StringValue(p.String()) }

func (p Push) check() error {
	u, err := url.Parse(p.Endpoint)
	if err != nil || len(p.Endpoint) > maxEndpoint || u.Host == "" || u.User != nil || u.Fragment != "" || u.Scheme != "https" && !(u.Scheme == "http" && loopback(u.Hostname())) {
		return fmt.Errorf("%w: endpoint: allowed an https address of at most %d bytes", ErrBadPush, maxEndpoint)
	}
	key, err := base64.RawURLEncoding.DecodeString(p.P256DH)
	if err == nil {
		_, err = ecdh.P256().NewPublicKey(key)
	}
	if err != nil {
		return fmt.Errorf("%w: p256dh: allowed a public key on P-256, 65 bytes in base64url", ErrBadPush)
	}
	if auth, err := base64.RawURLEncoding.DecodeString(p.Auth); err != nil || len(auth) != 16 {
		return fmt.Errorf("%w: auth: allowed 16 bytes in base64url", ErrBadPush)
	}
	return nil
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// AddPush keeps a subscription of a person, in the place of an earlier one with
// the same endpoint and of any other of the same device. A browser is one
// person's: an endpoint that was somebody else's is theirs no more.
func (c *Cabinet) AddPush(person string, p Push) error {
	err := p.check()
	if err == nil {
		p.Made = c.now().UTC()
		err = c.db.Update(func(tx *bbolt.Tx) error {
			b := tx.Bucket(pushBucket)
			same := func(q Push) bool { return q.Endpoint == p.Endpoint }
			if err := dropPushes(b, same); err != nil {
				return err
			}
			list, err := readPushes(b, person)
			if err != nil {
				return err
			}
			list = slices.DeleteFunc(list, func(q Push) bool { return p.Device != events.Source{} && q.Device == p.Device })
			list = append(list, p)
			return put(b, []byte(person), list[max(0, len(list)-MaxPushes):])
		})
	}
	if err != nil {
		return fmt.Errorf("add push of %s: %w", person, err)
	}
	return nil
}

// Pushes returns the subscriptions of a person, the oldest first.
func (c *Cabinet) Pushes(person string) (list []Push, err error) {
	err = c.db.View(func(tx *bbolt.Tx) error {
		list, err = readPushes(tx.Bucket(pushBucket), person)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("pushes of %s: %w", person, err)
	}
	return list, nil
}

// DropPush forgets a subscription of a person, if it is there.
func (c *Cabinet) DropPush(person, endpoint string) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		b := tx.Bucket(pushBucket)
		list, err := readPushes(b, person)
		if err != nil {
			return err
		}
		return keepPushes(b, []byte(person), list, func(p Push) bool { return p.Endpoint == endpoint })
	})
	if err != nil {
		return fmt.Errorf("drop push of %s: %w", person, err)
	}
	return nil
}

// DropPushes forgets all subscriptions of a person.
func (c *Cabinet) DropPushes(person string) error {
	err := c.db.Update(func(tx *bbolt.Tx) error { return tx.Bucket(pushBucket).Delete([]byte(person)) })
	if err != nil {
		return fmt.Errorf("drop pushes of %s: %w", person, err)
	}
	return nil
}

// DropPushesOfDevice forgets the subscriptions of a device, whosever it is.
func (c *Cabinet) DropPushesOfDevice(src events.Source) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		return dropPushes(tx.Bucket(pushBucket), func(p Push) bool { return p.Device == src })
	})
	if err != nil {
		return fmt.Errorf("drop pushes of %s: %w", src, err)
	}
	return nil
}

// dropPushes takes matching subscriptions out, whosever they are. What is damaged
// is left as it is: it reaches nobody.
func dropPushes(b *bbolt.Bucket, drop func(Push) bool) error {
	lists := map[string][]Push{}
	err := b.ForEach(func(key, sealed []byte) error {
		if list, err := read[[]Push](key, sealed); err == nil && slices.ContainsFunc(list, drop) {
			lists[string(key)] = list
		}
		return nil
	})
	for person, list := range lists {
		err = errors.Join(err, keepPushes(b, []byte(person), list, drop))
	}
	return err
}

func keepPushes(b *bbolt.Bucket, person []byte, list []Push, drop func(Push) bool) error {
	before := len(list)
	switch list = slices.DeleteFunc(list, drop); len(list) {
	case before:
		return nil
	case 0:
		return b.Delete(person)
	}
	return put(b, person, list)
}

func readPushes(b *bbolt.Bucket, person string) ([]Push, error) {
	key := []byte(person)
	sealed := b.Get(key)
	if sealed == nil {
		return nil, nil
	}
	return read[[]Push](key, sealed)
}

var (
	vapidBucket = []byte("vapid")
	vapidKey    = []byte("key")
)

// VAPID returns the private key by which browsers' services know this hub (RFC
// 8292): the scalar of a key on P-256, 32 bytes. It is made at the first call and
// is the same ever after; every subscription rests on it.
func (c *Cabinet) VAPID() (private []byte, err error) {
	look := func(tx *bbolt.Tx) error {
		value, err := readBytes(tx.Bucket(vapidBucket), vapidKey)
		private = bytes.Clone(value)
		return err
	}
	if err = c.db.View(look); err == nil && private == nil {
		err = c.db.Update(func(tx *bbolt.Tx) error {
			if err := look(tx); err != nil || private != nil {
				return err
			}
			key, err := ecdh.P256().GenerateKey(rand.Reader)
			if err != nil {
				return err
			}
			private = key.Bytes()
			return tx.Bucket(vapidBucket).Put(vapidKey, seal(vapidKey, private))
		})
	}
	if err == nil {
		_, err = ecdh.P256().NewPrivateKey(private)
	}
	if err != nil {
		return nil, fmt.Errorf("key for push messages: %w", err)
	}
	return private, nil
}
