package api

import "earlyage/cmd/earlyage/internal/face"

// Where the hub shows that its record is whole.
const (
	PathCheckpoint  = "/api/v1/checkpoint"
	PathCheckpoints = "/api/v1/checkpoints"
	WallBundle      = "bundle"
	PathBackup      = "/api/v1/backup"
)

// BackupInto is the body of POST PathBackup.
type BackupInto struct {
	Dir string `json:"dir"` // absolute, on the hub's machine; not there yet
}

// BackedUp answers it.
type BackedUp struct {
	Made       face.Time `json:"made"`
	Through    uint64    `json:"through"`     // last message of the store
	StreamEnds uint64    `json:"stream_ends"` // last message of the stream
	Bytes      int64     `json:"bytes"`
}

// Checkpoints answers PathCheckpoints.
type Checkpoints struct {
	Key         string       `json:"key"` // verifier key of the record
	Checkpoints []Checkpoint `json:"checkpoints"`
}

// Checkpoint is what the hub once signed of its record.
type Checkpoint struct {
	At      face.Time `json:"at"`
	Size    int64     `json:"size"`    // messages
	Through uint64    `json:"through"` // stream sequence of the last
	Root    string    `json:"root"`    // base64
	Note    string    `json:"note"`    // as it was signed
}
