package hub

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"earlyage/events/stream"
	"earlyage/projector"
	"earlyage/projector/merkle"
)

// A backup is a folder: keep.db as it was at one moment, a copy of the stream
// made after that, so that the stream never ends before the store, and a list of
// both with their digests. It holds the hub's key and people's names: whoever has
// it can speak as the hub.
const (
	backupKeep   = "keep.db"
	backupStream = "stream.copy"
	backupList   = "backup.json"
	partMark     = ".part" // a folder that is not whole yet
)

// Backup is the list of a backup.
type Backup struct {
	Made       time.Time       `json:"made"`
	Through    uint64          `json:"through"`     // last message in keep.db
	StreamEnds uint64          `json:"stream_ends"` // last message in the copy of the stream
	Key        string          `json:"key"`         // verifier key of the record
	Checkpoint string          `json:"checkpoint"`  // what the record was, signed
	Stream     stream.Snapshot `json:"stream"`
	Demo       *Mark           `json:"demo,omitzero"`
	Files      []BackupFile    `json:"files"`
}

// BackupFile is one file of a backup.
type BackupFile struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// ErrBackup is wrapped when a folder is no backup, or not as it was written.
var ErrBackup = errors.New("not a whole backup")

// Backup writes a copy of all that the hub keeps into a folder that is not there
// yet, while it goes on. After an error there is no such folder.
func (h *Hub) Backup(ctx context.Context, dir string) (b Backup, err error) {
	if _, err := os.Lstat(dir); err == nil {
		return b, fmt.Errorf("back up to %s: something is there already", dir)
	}
	part := dir + partMark
	if err := os.Mkdir(part, 0o700); err != nil {
		return b, fmt.Errorf("back up to %s: %w", dir, err)
	}
	if b, err = h.backupInto(ctx, part); err == nil {
		err = os.Rename(part, dir)
	}
	if err != nil {
		return b, errors.Join(fmt.Errorf("back up to %s: %w", dir, err), os.RemoveAll(part))
	}
	h.log.Info("backed up", "dir", dir, "through", b.Through)
	return b, syncFolder(filepath.Dir(dir))
}

func (h *Hub) backupInto(ctx context.Context, dir string) (b Backup, err error) {
	signed, err := h.projector.Checkpoint()
	if err != nil {
		return b, err
	}
	b = Backup{Made: h.clock.Now(), Key: h.projector.VerifierKey(), Checkpoint: string(signed.Note)}
	if h.demo {
		b.Demo = &Mark{At: b.Made, Signed: !h.unsigned}
	}
	keep, err := written(filepath.Join(dir, backupKeep), func(w io.Writer) (err error) { b.Through, err = h.projector.CopyKeep(w); return err })
	if err != nil {
		return b, err
	}
	copied, err := written(filepath.Join(dir, backupStream), func(w io.Writer) (err error) { b.Stream, err = stream.Copy(ctx, h.nc, w); return err })
	if err != nil {
		return b, err
	}
	if b.StreamEnds, err = b.Stream.Through(); err != nil {
		return b, err
	}
	if b.StreamEnds < b.Through {
		return b, fmt.Errorf("the stream ends at %d, the store at %d: %w", b.StreamEnds, b.Through, errShort)
	}
	b.Files = []BackupFile{keep, copied}
	text, err := json.Marshal(b, jsontext.WithIndent("  "))
	if err != nil {
		return b, err
	}
	_, err = written(filepath.Join(dir, backupList), func(w io.Writer) error { _, err := w.Write(text); return err })
	return b, errors.Join(err, syncFolder(dir))
}

// written writes a new file to the disk and says what it is.
func written(path string, write func(io.Writer) error) (b BackupFile, err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return b, err
	}
	sum := sha256.New()
	err = write(io.MultiWriter(f, sum))
	info, statErr := f.Stat()
	if err = errors.Join(err, statErr, f.Sync(), f.Close()); err != nil {
		return b, err
	}
	return BackupFile{Name: filepath.Base(path), Bytes: info.Size(), SHA256: hex.EncodeToString(sum.Sum(nil))}, nil
}

func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Restore makes a hub's folder of a backup, and proves it: every message of the
// store is the stream's, every hash and checkpoint is borne out, and the view is
// built. The folder must not be there yet; after an error it is not.
func Restore(ctx context.Context, from, dir string, log *slog.Logger) (b Backup, r projector.Report, err error) {
	if b, err = readBackup(from); err != nil {
		return b, r, err
	}
	if _, err := os.Lstat(dir); err == nil {
		return b, r, fmt.Errorf("restore to %s: something is there already", dir)
	}
	part := dir + partMark
	if err := os.Mkdir(part, 0o700); err != nil {
		return b, r, fmt.Errorf("restore to %s: %w", dir, err)
	}
	if r, err = restoreInto(ctx, from, part, b, log); err == nil {
		err = os.Rename(part, dir)
	}
	if err != nil {
		return b, r, errors.Join(fmt.Errorf("restore %s to %s: %w", from, dir, err), os.RemoveAll(part))
	}
	return b, r, syncFolder(filepath.Dir(dir))
}

// readBackup reads the list and compares every file with it.
func readBackup(dir string) (b Backup, err error) {
	text, err := os.ReadFile(filepath.Join(dir, backupList))
	if err == nil {
		err = json.Unmarshal(text, &b)
	}
	if err != nil {
		return b, fmt.Errorf("backup %s: %w: %w", dir, err, ErrBackup)
	}
	if _, err := merkle.OpenCheckpoint([]byte(b.Checkpoint), b.Key); err != nil {
		return b, fmt.Errorf("backup %s: %w: %w", dir, err, ErrBackup)
	}
	if len(b.Files) != 2 || b.Files[0].Name != backupKeep || b.Files[1].Name != backupStream {
		return b, fmt.Errorf("backup %s: its list names other files: %w", dir, ErrBackup)
	}
	for _, want := range b.Files {
		f, err := os.Open(filepath.Join(dir, want.Name))
		if err != nil {
			return b, fmt.Errorf("backup %s: %w: %w", dir, err, ErrBackup)
		}
		sum := sha256.New()
		n, err := io.Copy(sum, f)
		if err = errors.Join(err, f.Close()); err != nil {
			return b, fmt.Errorf("backup %s: %w", dir, err)
		}
		if n != want.Bytes || hex.EncodeToString(sum.Sum(nil)) != want.SHA256 {
			return b, fmt.Errorf("backup %s: %s is not as it was written: %w", dir, want.Name, ErrBackup)
		}
	}
	return b, nil
}

func restoreInto(ctx context.Context, from, dir string, b Backup, log *slog.Logger) (r projector.Report, err error) {
	if err := restoreStream(ctx, from, dir, b, log); err != nil {
		return r, err
	}
	keep, err := os.Open(filepath.Join(from, backupKeep))
	if err != nil {
		return r, err
	}
	defer keep.Close()
	if _, err := written(filepath.Join(dir, backupKeep), func(w io.Writer) error { _, err := io.Copy(w, keep); return err }); err != nil {
		return r, err
	}
	if b.Demo != nil {
		if err := WriteMark(dir, *b.Demo); err != nil {
			return r, err
		}
	}
	if r, err = Rebuild(ctx, dir, true, true, nil); err != nil {
		return r, err
	}
	if len(r.LogDiffers) > 0 {
		return r, fmt.Errorf("%s: %w", r.LogDiffers[0], ErrBackup)
	}
	return r, nil
}

func restoreStream(ctx context.Context, from, dir string, b Backup, log *slog.Logger) (err error) {
	server, err := stream.StartServer(stream.ServerConfig{Dir: filepath.Join(dir, "stream")}, log)
	if err != nil {
		return err
	}
	defer server.Stop()
	nc, err := server.Connect()
	if err != nil {
		return err
	}
	defer nc.Close()
	f, err := os.Open(filepath.Join(from, backupStream))
	if err != nil {
		return err
	}
	defer f.Close()
	return stream.Restore(ctx, nc, b.Stream, f)
}
