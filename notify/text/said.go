package text

import (
	"regexp"
	"strconv"
	"strings"
)

// A saying is something that the record says in English, and its text here.
type saying struct {
	pattern *regexp.Regexp
	key     string
	names   []string // of what the pattern finds
}

// sayings are what a line of a sheet is put together from (scheduler, sheet.go).
var sayings = []saying{
	{regexp.MustCompile(`^still being placed$`), "said.still-placing", nil},
	{regexp.MustCompile(`^cured, waits for ([a-z-]+)$`), "said.cured", []string{"what"}},
	{regexp.MustCompile(`^(planned|placing|curing|stripped|handed over), waits for ([a-z-]+)$`), "said.waits", []string{"state", "what"}},
	{regexp.MustCompile(`^braced$`), "said.braced", nil},
	{regexp.MustCompile(`^braced since ([A-Z][a-z]{2} \d{1,2} [A-Z][a-z]{2} \d\d:\d\d \S+)$`), "said.braced-since", []string{"at"}},
	{regexp.MustCompile(`^window open$`), "said.open", nil},
	{regexp.MustCompile(`^(planned|placing|curing|stripped|handed over)$`), "", []string{"state"}},
	{regexp.MustCompile(`^(\d+) more walls are not on this sheet$`), "said.left", []string{"n"}},
}

// issued puts what the record says in a line of a sheet into the reader's
// language. What it does not know stands as it was issued.
func (t teller) issued(said string) string {
	if t.lang == "en" {
		return local(said, t.sys)
	}
	parts := strings.Split(said, "; ")
	for i, part := range parts {
		parts[i] = t.saying(part)
	}
	return strings.Join(parts, "; ")
}

func (t teller) saying(part string) string {
	for _, s := range sayings {
		found := s.pattern.FindStringSubmatch(part)
		if found == nil {
			continue
		}
		var pairs []string
		for i, name := range s.names {
			pairs = append(pairs, name, t.word(name, found[i+1]))
		}
		if s.key == "" {
			return pairs[1]
		}
		return t.say(s.key, pairs...)
	}
	return local(part, t.sys)
}

// word puts one part of a saying into the reader's language.
func (t teller) word(name, found string) string {
	switch name {
	case "what":
		return t.criterion(found)
	case "state":
		return t.texts["wall."+strings.ReplaceAll(found, " ", "-")]
	case "at":
		return t.moment(found)
	}
	return found
}

// moment puts the names of day and month into the reader's language.
func (c catalogue) moment(said string) string {
	parts := strings.Fields(said)
	parts[0], parts[2] = c.named("day.", parts[0]), c.named("month.", parts[2])
	return strings.Join(parts, " ")
}

// named gives the name of a day or a month whose English name is known.
func (c catalogue) named(prefix, name string) string {
	for key, text := range catalogues["en"].texts {
		if strings.HasPrefix(key, prefix) && text == name {
			return c.texts[key]
		}
	}
	return name
}

// coldFrom is how the record says from when it freezes, and how cold it gets.
var coldFrom = regexp.MustCompile(`^from ([A-Z][a-z]{2} \d{1,2} [A-Z][a-z]{2} \d\d:\d\d \S+), (-?\d{1,3}\.\d) °C$`)

// cold puts the figures of a frost into the reader's language and units. Other
// words stand as they were issued.
func (t teller) cold(said string) string {
	m := coldFrom.FindStringSubmatch(said)
	if m == nil {
		return local(said, t.sys)
	}
	celsius, err := strconv.ParseFloat(m[2], 64)
	if err != nil {
		return local(said, t.sys)
	}
	return t.say("sheet.cold", "at", t.moment(m[1]), "cold", quantity("temperature", celsius, t.sys, down))
}
