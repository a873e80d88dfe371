package cabinet

import "github.com/go-json-experiment/json"

// Buckets are the names of what a cabinet keeps.
func Buckets() [][]byte {
	return [][]byte{personBucket, invitationBucket, passkeyBucket, sessionBucket, secretBucket, pushBucket, vapidBucket}
}

// Marshal encodes a value as it stands between version and checksum.
func Marshal(v any) ([]byte, error) { return json.Marshal(v) }

// The codec, for the fuzzers.
var (
	Seal           = seal
	Unseal         = unseal
	ReadCard       = read[Card]
	ReadInvitation = read[Invitation]
	ReadSession    = read[Session]
	ReadPush       = read[Push]
	ReadCode       = readCode
	WriteCode      = writeCode
)
