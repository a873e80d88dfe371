package hook

import (
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
)

// The specification asks for 24 to 64 bytes.
const (
	secretLeast = 24
	secretMost  = 64
)

func decodeSecret(text string) ([]byte, error) {
	encoded, ok := strings.CutPrefix(text, secretPrefix)
	if !ok {
		return nil, errors.New("does not begin with " + secretPrefix)
	}
	key, err := base64.StdEncoding.DecodeString(encoded)
	if err != nil {
		return nil, errors.New("not base64 after " + secretPrefix)
	}
	if len(key) < secretLeast || len(key) > secretMost {
		return nil, fmt.Errorf("%d bytes, allowed %d to %d", len(key), secretLeast, secretMost)
	}
	return key, nil
}

// NewSecret makes a secret of 32 random bytes.
func NewSecret() string {
	key := make([]byte, 32)
	_, _ = rand.Read(key) // never fails, by its documentation
	return secretPrefix + base64.StdEncoding.EncodeToString(key)
}
