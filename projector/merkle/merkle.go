// Package merkle shows that a record is whole: that what it holds of a moment is
// what it held then, message by message.
//
// The record is an append-only Merkle log as of RFC 6962: a leaf for each
// message exactly as it was received, hashed by golang.org/x/mod/sumdb/tlog. A
// checkpoint says of how many leaves the log was and what its root was, signed
// by the hub as a C2SP signed note (golang.org/x/mod/sumdb/note, Ed25519); one
// that lies outside the hub's reach holds the hub to it. A proof of 32 bytes for
// each doubling of the log shows that a leaf is in it, or that a later log
// begins with an earlier one.
//
// The package is pure: no clock, no disk.
package merkle

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a SHA-256 of a leaf or a node, as RFC 6962 makes them.
type Hash = tlog.Hash

// Inclusion proves that a leaf is in a log, Consistency that a log begins with
// an earlier one. Both are the hashes in the order of RFC 6962.
type (
	Inclusion   = tlog.RecordProof
	Consistency = tlog.TreeProof
)

// ErrCheckpoint is wrapped when a text is no checkpoint, or is signed by nobody
// that is believed.
var ErrCheckpoint = errors.New("not a checkpoint of this record")

// Checkpoint is what a log was at a moment.
type Checkpoint struct {
	Origin  string // name of the log
	Size    int64  // leaves
	Root    Hash
	Through uint64    // stream sequence of the last leaf; 0: there is none
	At      time.Time // when it was made, by the hub's clock; UTC, whole seconds
}

// originPrefix is what the name of every record's log begins with.
const originPrefix = "earlyage/"

// Origin names the log of a record by the hub's key.
func Origin(hub ed25519.PublicKey) string {
	sum := sha256.Sum256(hub)
	return originPrefix + hex.EncodeToString(sum[:8])
}

// Text is the checkpoint in the form of C2SP tlog-checkpoint: origin, size and
// root, each on a line, then the lines of this program: through and at.
func (c Checkpoint) Text() string {
	return fmt.Sprintf("%s\n%d\n%s\nthrough %d\nat %s\n", c.Origin, c.Size, base64.StdEncoding.EncodeToString(c.Root[:]), c.Through, c.At.UTC().Format(time.RFC3339))
}

// parse reads what Text writes, and nothing else.
func parse(text string) (c Checkpoint, err error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 6 || lines[5] != "" {
		return c, fmt.Errorf("%d lines: %w", len(lines)-1, ErrCheckpoint)
	}
	c.Origin = lines[0]
	if c.Size, err = strconv.ParseInt(lines[1], 10, 64); err != nil || c.Size < 0 {
		return c, fmt.Errorf("size %q: %w", lines[1], ErrCheckpoint)
	}
	root, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(root) != len(c.Root) {
		return c, fmt.Errorf("root %q: %w", lines[2], ErrCheckpoint)
	}
	copy(c.Root[:], root)
	through, ok := strings.CutPrefix(lines[3], "through ")
	if c.Through, err = strconv.ParseUint(through, 10, 64); err != nil || !ok {
		return c, fmt.Errorf("%q: %w", lines[3], ErrCheckpoint)
	}
	at, ok := strings.CutPrefix(lines[4], "at ")
	if c.At, err = time.Parse(time.RFC3339, at); err != nil || !ok {
		return c, fmt.Errorf("%q: %w", lines[4], ErrCheckpoint)
	}
	if c.Text() != text {
		return c, fmt.Errorf("written in another form: %w", ErrCheckpoint)
	}
	return c, nil
}

// algorithmEd25519 is the identifier of a note's key.
const algorithmEd25519 = 1

// VerifierKey is the text by which the signatures of a record are checked:
// name, id and key, as signed notes have it.
func VerifierKey(hub ed25519.PublicKey) string {
	key, err := note.NewEd25519VerifierKey(Origin(hub), hub)
	if err != nil {
		panic("merkle: a key of " + strconv.Itoa(len(hub)) + " bytes")
	}
	return key
}

// PublicKey reads a verifier key and returns the hub's public key.
func PublicKey(verifierKey string) (ed25519.PublicKey, error) {
	parts := strings.SplitN(verifierKey, "+", 3)
	if len(parts) != 3 {
		return nil, fmt.Errorf("verifier key %q: %w", verifierKey, ErrCheckpoint)
	}
	raw, err := base64.StdEncoding.Strict().DecodeString(parts[2])
	if err != nil || len(raw) != 1+ed25519.PublicKeySize || raw[0] != algorithmEd25519 {
		return nil, fmt.Errorf("verifier key %q: %w", verifierKey, ErrCheckpoint)
	}
	key := ed25519.PublicKey(raw[1:])
	if VerifierKey(key) != verifierKey {
		return nil, fmt.Errorf("verifier key %q is of another name: %w", verifierKey, ErrCheckpoint)
	}
	return key, nil
}

// Sign signs a text that ends with a line break, as a signed note by the hub.
func Sign(hub ed25519.PrivateKey, text string) ([]byte, error) {
	name := Origin(hub.Public().(ed25519.PublicKey))
	key := append([]byte{algorithmEd25519}, hub.Public().(ed25519.PublicKey)...)
	sum := sha256.Sum256(append([]byte(name+"\n"), key...))
	secret := append([]byte{algorithmEd25519}, hub.Seed()...)
	signer, err := note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", name, binary.BigEndian.Uint32(sum[:4]), base64.StdEncoding.EncodeToString(secret)))
	if err != nil {
		return nil, fmt.Errorf("sign note: %w", err)
	}
	signed, err := note.Sign(&note.Note{Text: text}, signer)
	if err != nil {
		return nil, fmt.Errorf("sign note: %w", err)
	}
	return signed, nil
}

// Open returns the text of a signed note if the key signed it.
func Open(signed []byte, verifierKey string) (string, error) {
	verifier, err := note.NewVerifier(verifierKey)
	if err != nil {
		return "", fmt.Errorf("verifier key %q: %w: %w", verifierKey, err, ErrCheckpoint)
	}
	n, err := note.Open(signed, note.VerifierList(verifier))
	if err != nil {
		return "", fmt.Errorf("signed note: %w: %w", err, ErrCheckpoint)
	}
	return n.Text, nil
}

// SignCheckpoint signs a checkpoint of the hub's own log.
func SignCheckpoint(hub ed25519.PrivateKey, c Checkpoint) ([]byte, error) {
	c.Origin = Origin(hub.Public().(ed25519.PublicKey))
	return Sign(hub, c.Text())
}

// OpenCheckpoint reads a signed checkpoint of the log whose key it is.
func OpenCheckpoint(signed []byte, verifierKey string) (Checkpoint, error) {
	text, err := Open(signed, verifierKey)
	if err != nil {
		return Checkpoint{}, err
	}
	c, err := parse(text)
	if err != nil {
		return Checkpoint{}, err
	}
	if name, _, _ := strings.Cut(verifierKey, "+"); c.Origin != name {
		return Checkpoint{}, fmt.Errorf("of the log %q, the key is of %q: %w", c.Origin, name, ErrCheckpoint)
	}
	return c, nil
}

// LeafHash is the hash of a leaf's bytes.
func LeafHash(leaf []byte) Hash { return tlog.RecordHash(leaf) }

// CheckInclusion returns nil if the proof shows that the leaf is the one at an
// index, from 0, of the checkpoint's log.
func CheckInclusion(p Inclusion, c Checkpoint, index int64, leaf []byte) error {
	if err := tlog.CheckRecord(p, c.Size, c.Root, index, LeafHash(leaf)); err != nil {
		return fmt.Errorf("leaf %d of %d: %w", index, c.Size, err)
	}
	return nil
}

// CheckConsistency returns nil if the proof shows that the log of the later
// checkpoint begins with that of the earlier.
func CheckConsistency(p Consistency, later, earlier Checkpoint) error {
	if earlier.Size == 0 {
		// Every log begins with none: there is nothing to prove but that it is none.
		if none := (Hash)(sha256.Sum256(nil)); len(p) > 0 || earlier.Root != none {
			return fmt.Errorf("log of no leaves of the root %v, with %d hashes: %w", earlier.Root, len(p), ErrCheckpoint)
		}
		return nil
	}
	if err := tlog.CheckTree(p, later.Size, later.Root, earlier.Size, earlier.Root); err != nil {
		return fmt.Errorf("log of %d leaves begins with that of %d: %w", later.Size, earlier.Size, err)
	}
	return nil
}
