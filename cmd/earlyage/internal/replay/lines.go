package replay

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"earlyage/events"
)

// lines calls each with every line that is not blank, from number 1. A line
// over events.MaxBody is cut to one byte more, so that it is refused and not
// held in memory.
func lines(r io.Reader, each func(number int, line []byte) error) error {
	in := bufio.NewReaderSize(r, 64<<10)
	for number := 1; ; number++ {
		line, err := oneLine(in)
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("read line %d: %w", number, err)
		}
		if line = bytes.TrimSpace(line); len(line) > 0 {
			if err := each(number, line); err != nil {
				return err
			}
		}
		if err != nil {
			return nil
		}
	}
}

func oneLine(in *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := in.ReadSlice('\n')
		if room := events.MaxBody + 1 - len(line); room > 0 {
			line = append(line, part[:min(len(part), room)]...)
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return line, err
		}
	}
}
