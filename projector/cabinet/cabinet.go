package cabinet

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"sync"
	"time"

	"github.com/go-json-experiment/json"
	"go.etcd.io/bbolt"
)

var (
	// ErrDamaged: a stored value is not what was written.
	ErrDamaged = errors.New("a stored value is damaged")
	// ErrNoInvitation: the code is unknown, used or too old; which of them is
	// not said, since only a guesser would gain by it.
	ErrNoInvitation = errors.New("no such invitation: unknown, used or expired")
	// ErrNoSession: the token is unknown or its session is over.
	ErrNoSession = errors.New("no such session: unknown or over")
	// ErrSpent is wrapped by an error of the function given to Redeem when the
	// invitation must stay spent though that function did not succeed.
	ErrSpent = errors.New("the invitation stays spent")
	// ErrTaken: the passkey belongs to another person.
	ErrTaken = errors.New("the passkey belongs to another person")
)

var (
	personBucket     = []byte("person")
	invitationBucket = []byte("invitation")
	passkeyBucket    = []byte("passkey")
	sessionBucket    = []byte("session")
	secretBucket     = []byte("secret")
)

// DB is a bbolt file that holds the record as well. Update returns nil only
// when the transaction is on the disk.
type DB interface {
	View(func(*bbolt.Tx) error) error
	Update(func(*bbolt.Tx) error) error
}

// Limits are how long things last. A member that is zero has its default.
type Limits struct {
	Invitation time.Duration // from its making; default 15 min
	Idle       time.Duration // a session that is not used; default 12 h
	Session    time.Duration // a session in all; default 7 days
	Touch      time.Duration // least time between two notes that a session was used; default 1 min

	// Lasting invitations are not spent when they are used. For a demo, to which
	// whoever looks on is let in again and again, and for nothing else.
	Lasting bool
}

func (l Limits) withDefaults() Limits {
	for _, d := range []struct {
		at  *time.Duration
		def time.Duration
	}{
		{&l.Invitation, 15 * time.Minute}, {&l.Idle, 12 * time.Hour}, {&l.Session, 7 * 24 * time.Hour}, {&l.Touch, time.Minute},
	} {
		if *d.at <= 0 {
			*d.at = d.def
		}
	}
	return l
}

// Cabinet is a part of a bbolt file.
type Cabinet struct {
	db     DB
	now    func() time.Time
	limits Limits
	wiping *sync.Mutex // held while free pages are written over
}

// New makes the buckets where they are not there yet, and ends an erasing that
// a crash has interrupted. now is read once in each call.
func New(db DB, now func() time.Time) (*Cabinet, error) {
	c := &Cabinet{db: db, now: now, limits: Limits{}.withDefaults(), wiping: new(sync.Mutex)}
	wiping := false
	err := db.Update(func(tx *bbolt.Tx) error {
		for _, name := range [][]byte{personBucket, invitationBucket, passkeyBucket, sessionBucket, secretBucket, pushBucket, vapidBucket} {
			if _, err := tx.CreateBucketIfNotExists(name); err != nil {
				return fmt.Errorf("bucket %s: %w", name, err)
			}
		}
		wiping = tx.Bucket(wipeBucket) != nil
		return nil
	})
	if err == nil && wiping {
		err = c.wipe()
	}
	if err != nil {
		return nil, fmt.Errorf("open cabinet: %w", err)
	}
	return c, nil
}

// WithLimits returns the same cabinet with other limits. They are applied when
// something is looked at, so a shorter one ends what is there already, except
// that an invitation keeps the end that was told to the person invited.
func (c *Cabinet) WithLimits(l Limits) *Cabinet {
	other := *c
	other.limits = l.withDefaults()
	return &other
}

const version = 1

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func checksum(key, value []byte) uint32 {
	return crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
}

// seal puts the version before a value and the checksum behind it.
func seal(key, value []byte) []byte {
	b := make([]byte, 0, len(value)+5)
	b = append(append(b, version), value...)
	return binary.BigEndian.AppendUint32(b, checksum(key, b))
}

// unseal is the other way. The result is a part of sealed.
func unseal(key, sealed []byte) ([]byte, error) {
	n := len(sealed) - 4
	if n < 1 || checksum(key, sealed[:n]) != binary.BigEndian.Uint32(sealed[n:]) {
		return nil, fmt.Errorf("checksum: %w", ErrDamaged)
	}
	if sealed[0] != version {
		return nil, fmt.Errorf("version %d, this program reads %d: %w", sealed[0], version, ErrDamaged)
	}
	return sealed[1:n:n], nil
}

func put(b *bbolt.Bucket, key []byte, v any) error {
	value, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return b.Put(key, seal(key, value))
}

// read decodes a stored value. The value itself is never part of the error: it
// may hold a name.
func read[T any](key, sealed []byte) (v T, err error) {
	value, err := unseal(key, sealed)
	if err != nil {
		return v, err
	}
	if json.Unmarshal(value, &v, json.RejectUnknownMembers(true)) != nil {
		var none T
		return none, fmt.Errorf("not a %T: %w", v, ErrDamaged)
	}
	return v, nil
}
