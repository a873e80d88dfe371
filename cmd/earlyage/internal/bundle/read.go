package bundle

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"github.com/go-json-experiment/json"

	"earlyage/projector"
	"earlyage/projector/merkle"
)

// A Fault is a place of a bundle that is not as the hub wrote it.
type Fault struct {
	Line int    // from 1; 0: the bundle as a whole
	What string // in plain words
}

// Error implements error.
func (f Fault) Error() string {
	if f.Line == 0 {
		return f.What
	}
	return fmt.Sprintf("line %d: %s", f.Line, f.What)
}

// file is a bundle as it was read, each line taken by itself.
type file struct {
	head    Head
	points  []readPoint
	entries []readEntry
	seal    string
	sealAt  int
	sum     [sha256.Size]byte // of the lines before the seal
	proven  bool              // every message is in the log of a checkpoint that the hub signed
	more    int               // faults beyond those that are named
}

type readPoint struct {
	point
	line int
}

type readEntry struct {
	entry
	line int
	leaf projector.Leaf
}

// maxLine is more than the longest line has: a message of the greatest size that a
// server takes by default (1 MiB), in base64, with its proof.
const maxLine = 4 << 20

// ErrNoBundle: the file does not begin as a bundle does.
var ErrNoBundle = errors.New("not a bundle of this program")

// read reads a bundle. It returns what faults the lines have by themselves, the
// first of them; an error only where there is no bundle, or it cannot be read.
func read(r io.Reader) (f file, faults []Fault, err error) {
	lines := bufio.NewReaderSize(r, 64<<10)
	sum := sha256.New()
	for n := 1; ; n++ {
		raw, err := line(lines)
		end := errors.Is(err, io.EOF)
		switch {
		case n == 1 && (err == nil || end || errors.Is(err, errLong)) && !bytes.HasPrefix(raw, []byte(headBegins)):
			return f, faults, fmt.Errorf("read bundle: %w", ErrNoBundle)
		case err != nil && !end:
			return f, faults, fmt.Errorf("read bundle, line %d: %w", n, err)
		}
		if end && len(raw) == 0 {
			break
		}
		before := f.sealAt
		switch what := f.take(n, raw); {
		case what == "":
		case what == otherEnds && len(faults) > 0 && faults[len(faults)-1].What == otherEnds: // all of a file are
			f.more++
		case len(faults) < mostNamed:
			faults = append(faults, Fault{n, what})
		default:
			f.more++
		}
		if before == 0 && f.sealAt == 0 {
			sum.Write(raw)
		}
	}
	f.sum = [sha256.Size]byte(sum.Sum(nil))
	return f, faults, nil
}

const headBegins = `{"earlyage_bundle":`

var errLong = errors.New("longer than any line of a bundle")

// line reads one line, its break included.
func line(r *bufio.Reader) (raw []byte, err error) {
	for {
		part, err := r.ReadSlice('\n')
		raw = append(raw, part...)
		if !errors.Is(err, bufio.ErrBufferFull) {
			return raw, err
		}
		if len(raw) > maxLine {
			return raw, errLong
		}
	}
}

// take reads one line, and says what is wrong with it by itself.
func (f *file) take(n int, raw []byte) (wrong string) {
	if n == 1 {
		return exact(raw, &f.head)
	}
	switch {
	case f.sealAt != 0:
		wrong = "it comes after the seal"
	case bytes.HasPrefix(raw, []byte(`{"checkpoint":`)):
		p := readPoint{line: n}
		if wrong = exact(raw, &p.point); wrong == "" && len(f.entries) > 0 {
			wrong = "a checkpoint among the messages"
		}
		f.points = append(f.points, p)
	case bytes.HasPrefix(raw, []byte(`{"index":`)):
		e := readEntry{line: n}
		if wrong = exact(raw, &e.entry); wrong == "" {
			var err error
			if e.leaf, err = projector.ParseLeaf(e.Leaf); err != nil {
				wrong = "it holds no message: " + err.Error()
			}
		}
		if wrong == "" {
			f.entries = append(f.entries, e)
		}
	case bytes.HasPrefix(raw, []byte(`{"seal":`)):
		var s seal
		wrong, f.sealAt = exact(raw, &s), n
		f.seal = s.Seal
	default:
		wrong = "it is none of a bundle's lines"
	}
	return wrong
}

// exact decodes a line and says where it is not in its one form.
func exact[T head | point | entry | seal](raw []byte, v *T) string {
	if err := json.Unmarshal(raw, v, json.RejectUnknownMembers(true)); err != nil {
		return "it cannot be read, it is broken off or was changed: " + err.Error()
	}
	again, err := form(*v)
	switch {
	case err == nil && bytes.Equal(again, raw):
		return ""
	case err == nil && bytes.HasSuffix(raw, []byte("\r\n")) && bytes.Equal(again[:len(again)-1], raw[:len(raw)-2]):
		return otherEnds
	}
	return "it is not as a hub writes it: a character was changed"
}

const otherEnds = "it ends as a line of another system does: a program that sent or unpacked the file changed the ends of its lines; send the file as it was written"

type head = Head

// last is the last checkpoint, if it can be believed.
func (f *file) last(key string) (merkle.Checkpoint, error) {
	if len(f.points) == 0 {
		return merkle.Checkpoint{}, errNoCheckpoint
	}
	return merkle.OpenCheckpoint([]byte(f.points[len(f.points)-1].Checkpoint), key)
}
