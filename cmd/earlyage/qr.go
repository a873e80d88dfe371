package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"rsc.io/qr"
)

// quiet is the width of the empty margin round a code, in modules; a camera
// needs four (ISO/IEC 18004).
const quiet = 4

// Colours of a terminal, black on white whatever its own are: not every camera
// reads a code that is white on black.
const (
	paperOn  = "\x1b[38;5;16;48;5;231m"
	paperOff = "\x1b[0m"
)

// writeQR draws a text as a code for cameras, two rows of modules to a line. On
// a terminal it sets the colours of paper.
func writeQR(w io.Writer, text string) error {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return fmt.Errorf("draw the code: %w", err)
	}
	on, off := "", ""
	if isTerminal(w) {
		on, off = paperOn, paperOff
	}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		b.WriteString(on)
		for x := -quiet; x < code.Size+quiet; x++ {
			b.WriteRune(halfBlock(code.Black(x, y), code.Black(x, y+1)))
		}
		b.WriteString(off + "\n")
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("draw the code: %w", err)
	}
	return nil
}

func halfBlock(upper, lower bool) rune {
	switch {
	case upper && lower:
		return '█'
	case upper:
		return '▀'
	case lower:
		return '▄'
	default:
		return ' '
	}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// saveQR writes the picture of a code to a new file that only its owner can
// read: whoever has the picture has what it says.
func saveQR(file, text string) error {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return fmt.Errorf("draw the code: %w", err)
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return usageError{fmt.Errorf("qr-png: give the name of a new file: %w", err)}
	}
	_, err = f.Write(code.PNG())
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("write the code: %w", err)
	}
	return nil
}
