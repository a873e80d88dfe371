package api

import "earlyage/cmd/earlyage/internal/face"

// Where the hub shows that its record is whole.
const (
	PathCheckpoint  = "/api/v1/checkpoint"
	PathCheckpoints = "/api/v1/checkpoints"
	WallBundle      = "bundle"
)

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
