package stream

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"strconv"
	"strings"

	"earlyage/events"
)

// SignatureHeader is the NATS header that carries the signature of a body.
const SignatureHeader = "Earlyage-Signature"

const signatureScheme = "ed25519"

// Sign returns the value of SignatureHeader for a body: the scheme, the key's
// id and the signature, with a space between them. What is signed is the
// pre-authentication encoding of DSSE 1.0 over the content type and the exact
// body, so that a signature of other bytes can never pass for one of an event.
func Sign(key ed25519.PrivateKey, body []byte) string {
	sig := ed25519.Sign(key, encodePAE(events.ContentType, body))
	return signatureScheme + " " + KeyID(key.Public().(ed25519.PublicKey)) + " " + base64.RawURLEncoding.EncodeToString(sig)
}

// Verify reports whether signature is what Sign returns for this body with the
// private half of pub. It never panics, whatever the header holds.
func Verify(pub ed25519.PublicKey, signature string, body []byte) bool {
	if len(pub) != ed25519.PublicKeySize {
		return false
	}
	part := strings.Split(signature, " ")
	if len(part) != 3 || part[0] != signatureScheme || part[1] != KeyID(pub) {
		return false
	}
	sig, err := base64.RawURLEncoding.Strict().DecodeString(part[2])
	return err == nil && len(sig) == ed25519.SignatureSize &&
		ed25519.Verify(pub, encodePAE(events.ContentType, body), sig)
}

// KeyID names a public key: the first 16 hexadecimal digits of its SHA-256.
func KeyID(pub ed25519.PublicKey) string {
	sum := sha256.Sum256(pub)
	return hex.EncodeToString(sum[:8])
}

// encodePAE is the pre-authentication encoding of DSSE 1.0:
// "DSSEv1" SP LEN(type) SP type SP LEN(body) SP body, lengths in bytes as
// decimal digits.
func encodePAE(contentType string, body []byte) []byte {
	b := make([]byte, 0, len("DSSEv1")+len(contentType)+len(body)+48)
	b = append(b, "DSSEv1 "...)
	b = strconv.AppendInt(b, int64(len(contentType)), 10)
	b = append(b, ' ')
	b = append(b, contentType...)
	b = append(b, ' ')
	b = strconv.AppendInt(b, int64(len(body)), 10)
	b = append(b, ' ')
	return append(b, body...)
}
