package face

import (
	"cmp"
	"io"
	"strconv"
	"strings"
	"time"
)

// ToldLine is one message to one person by one channel.
type ToldLine struct {
	Site, Wall, Person, Name string
	What, Kind, Text         string
	Channel, State, Error    string
	Step                     int
	Made, Next, Ended        time.Time
}

// Told prints what was told to whom, and what came of it, in the order given.
func (p Page) Told(w io.Writer, lines []ToldLine) error {
	if len(lines) == 0 {
		_, err := io.WriteString(w, "Nothing was told.\n")
		return err
	}
	t := newTable("WHEN", "WHO", "WHAT", "CHANNEL", "STEP", "WHAT CAME OF IT")
	for _, l := range lines {
		zone := p.Sites[l.Site].Location()
		t.add(Past(l.Made, zone), cmp.Or(l.Name, l.Person), l.what(), l.Channel, strconv.Itoa(l.Step), l.outcome(zone))
	}
	return t.write(w)
}

func (l ToldLine) what() string {
	words := []string{l.What}
	if l.Kind != "" {
		words = append(words, l.Kind)
	}
	where := l.Site
	if l.Wall != "" {
		where += "/" + l.Wall
	}
	return strings.Join(append(words, where), " ")
}

// outcome says what came of a message, and why where it came to nothing.
func (l ToldLine) outcome(zone *time.Location) string {
	out := l.State
	switch {
	case !l.Ended.IsZero():
		out += " " + Past(l.Ended, zone)
	case !l.Next.IsZero():
		out += ", next " + Past(l.Next, zone)
	}
	if l.Error != "" {
		out += ": " + l.Error
	}
	return out
}
