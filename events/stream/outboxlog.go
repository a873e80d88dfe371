package stream

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
)

// logFile is the outbox's log: lines of text, each with a checksum before it,
// only ever appended to. Lines of text, so that a person with a broken phone in
// the hand can still read what it holds. It is used under the outbox's lock.
type logFile struct {
	path string
	f    *os.File
	end  int64 // where the next line goes: everything before it has been read

	damage []string // what could not be read, in words
}

// line is one line of the log: where it stands and what it says.
type line struct {
	off  int64
	size int // with checksum and line feed
	text string
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

const sumDigits = 8 // hexadecimal digits of a line's checksum

func appendLine(b []byte, text string) []byte {
	b = fmt.Appendf(b, "%08x ", crc32.Checksum([]byte(text), castagnoli))
	b = append(b, text...)
	return append(b, '\n')
}

// parseLine reads a line without its line feed.
func parseLine(raw []byte) (text string, ok bool) {
	if len(raw) < sumDigits+1 || raw[sumDigits] != ' ' {
		return "", false
	}
	sum, err := strconv.ParseUint(string(raw[:sumDigits]), 16, 32)
	if err != nil || uint32(sum) != crc32.Checksum(raw[sumDigits+1:], castagnoli) {
		return "", false
	}
	return string(raw[sumDigits+1:]), true
}

// refresh hands on the lines that were added since it was last called. If the
// file is new to this process, because it is the first time or because another
// process has replaced it, it calls fresh and hands on all.
func (l *logFile) refresh(fresh func(), take func(line) error) error {
	isNew, err := l.reopen()
	if err != nil {
		return err
	}
	if isNew {
		fresh()
	}
	info, err := l.f.Stat()
	if err != nil {
		return fmt.Errorf("read %s: %w", l.path, err)
	}
	raw := make([]byte, info.Size()-l.end)
	if _, err := io.ReadFull(io.NewSectionReader(l.f, l.end, int64(len(raw))), raw); err != nil {
		return fmt.Errorf("read %s from %d: %w", l.path, l.end, err)
	}
	return l.replay(raw, take)
}

// reopen reports whether it opened the file anew.
func (l *logFile) reopen() (isNew bool, err error) {
	if l.f != nil {
		here, err1 := l.f.Stat()
		there, err2 := os.Stat(l.path)
		if err1 == nil && err2 == nil && os.SameFile(here, there) && there.Size() >= l.end {
			return false, nil
		}
		if err := l.close(); err != nil {
			return false, err
		}
	}
	_, statErr := os.Stat(l.path)
	if l.f, err = os.OpenFile(l.path, os.O_RDWR|os.O_CREATE, 0o600); err != nil {
		return false, fmt.Errorf("open outbox: %w", err)
	}
	l.end, l.damage = 0, nil
	if errors.Is(statErr, os.ErrNotExist) {
		// The name is on the disk before anything is promised.
		if err := syncFolder(filepath.Dir(l.path)); err != nil {
			return false, err
		}
	}
	return true, nil
}

// replay hands on the lines of raw, which stands at the end of what was read. A
// line in the middle that cannot be read is said and passed over, and what comes
// after it counts. A bad tail is said and cut: half a line is what a crash in
// the middle of an append leaves, and that append had not returned.
func (l *logFile) replay(raw []byte, take func(line) error) error {
	for len(raw) > 0 {
		i := bytes.IndexByte(raw, '\n')
		if i < 0 {
			return l.cut(fmt.Sprintf("a half-written tail of %d bytes was cut off", len(raw)))
		}
		text, ok := parseLine(raw[:i])
		if ok {
			ok = take(line{l.end, i + 1, text}) == nil
		}
		if !ok && i+1 == len(raw) {
			return l.cut(fmt.Sprintf("a tail of %d bytes that does not fit its checksum was cut off", i+1))
		}
		if !ok {
			l.note(fmt.Sprintf("%d bytes cannot be read", i+1))
		}
		l.end += int64(i + 1)
		raw = raw[i+1:]
	}
	return nil
}

func (l *logFile) note(what string) {
	l.damage = append(l.damage, fmt.Sprintf("%s at %d: %s", filepath.Base(l.path), l.end, what))
}

func (l *logFile) cut(what string) error {
	l.note(what)
	if err := l.f.Truncate(l.end); err != nil {
		return fmt.Errorf("cut %s at %d: %w", l.path, l.end, err)
	}
	if err := l.f.Sync(); err != nil {
		return fmt.Errorf("cut %s at %d: %w", l.path, l.end, err)
	}
	return nil
}

// add appends lines and returns when they are on the disk. After an error none
// of them counts: what was written of them is cut off again, here or, after a
// crash, when the log is next read.
func (l *logFile) add(texts []string) ([]line, error) {
	var raw []byte
	lines := make([]line, 0, len(texts))
	for _, text := range texts {
		at := len(raw)
		raw = appendLine(raw, text)
		lines = append(lines, line{l.end + int64(at), len(raw) - at, text})
	}
	_, err := l.f.WriteAt(raw, l.end)
	if err == nil {
		err = l.f.Sync()
	}
	if err != nil {
		return nil, fmt.Errorf("append to %s: %w", l.path, errors.Join(err, l.f.Truncate(l.end)))
	}
	l.end += int64(len(raw))
	return lines, nil
}

// read returns a line that was handed on before, or false if it is damaged now.
func (l *logFile) read(off int64, size int) (text string, ok bool) {
	raw := make([]byte, size)
	if _, err := l.f.ReadAt(raw, off); err != nil || raw[size-1] != '\n' {
		return "", false
	}
	return parseLine(raw[:size-1])
}

// replace puts a log with other lines in the place of this one.
func (l *logFile) replace(texts []string) error {
	var raw []byte
	for _, text := range texts {
		raw = appendLine(raw, text)
	}
	tmp := l.path + ".new"
	f, err := os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("rewrite outbox: %w", err)
	}
	_, err = f.Write(raw)
	if err == nil {
		err = f.Sync()
	}
	// A crash up to here leaves the old log and a file that nobody reads.
	if err = errors.Join(err, f.Close(), l.close()); err == nil {
		err = os.Rename(tmp, l.path)
	}
	if err != nil {
		return fmt.Errorf("rewrite outbox: %w", errors.Join(err, os.Remove(tmp)))
	}
	// A crash here leaves the old log or the new one, whole.
	return syncFolder(filepath.Dir(l.path))
}

func (l *logFile) close() error {
	if l.f == nil {
		return nil
	}
	err := l.f.Close()
	l.f = nil
	return err
}

// syncFolder puts the names of a folder on the disk. Windows keeps them by
// itself and has no call for it.
func syncFolder(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	err = errors.Join(d.Sync(), d.Close())
	if err != nil {
		return fmt.Errorf("sync folder %s: %w", dir, err)
	}
	return nil
}
