package door

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"
	"time"
)

// errStale is a nonce or a ceremony that is unknown, too old, or was used:
// which of them is nobody's business.
var errStale = errors.New("no such nonce, or it is used or too old")

// seal hands out words that only this process can have made. It remembers those
// alone that were used, and those only for as long as they would be valid: who
// asks for a million of them takes no memory.
type seal struct {
	aead cipher.AEAD

	mu   sync.Mutex
	used map[[sha256.Size]byte]time.Time // until when; guarded by mu
}

func newSeal() (*seal, error) {
	key := make([]byte, 32)
	rand.Read(key) // never returns an error
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	aead, err := cipher.NewGCMWithRandomNonce(block)
	if err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	return &seal{aead: aead, used: map[[sha256.Size]byte]time.Time{}}, nil
}

// make seals content for a purpose. The word is unpredictable, and no two are
// equal.
func (s *seal) make(purpose string, content []byte, until time.Time) string {
	plain := binary.BigEndian.AppendUint64(nil, uint64(until.UnixNano()))
	plain = append(plain, content...)
	return base64.RawURLEncoding.EncodeToString(s.aead.Seal(nil, nil, plain, []byte(purpose))) // #nosec G407 -- the cipher draws the nonce itself
}

// open gives back what was sealed for the purpose, while it is valid and not
// used; errStale else.
func (s *seal) open(purpose, word string, now time.Time) (content []byte, until time.Time, err error) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(word)
	if err != nil {
		return nil, time.Time{}, errStale
	}
	plain, err := s.aead.Open(nil, nil, raw, []byte(purpose))
	if err != nil || len(plain) < 8 {
		return nil, time.Time{}, errStale
	}
	until = time.Unix(0, int64(binary.BigEndian.Uint64(plain))).UTC() // #nosec G115 -- as make wrote it
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, used := s.used[sha256.Sum256(raw)]; used || !now.Before(until) {
		return nil, time.Time{}, errStale
	}
	return plain[8:], until, nil
}

// use takes an opened word out of the world: of two at once, one gets true.
func (s *seal) use(word string, until, now time.Time) bool {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(word)
	if err != nil {
		return false
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for sum, until := range s.used {
		if !now.Before(until) {
			delete(s.used, sum)
		}
	}
	sum := sha256.Sum256(raw)
	if _, used := s.used[sum]; used {
		return false
	}
	s.used[sum] = until
	return true
}
