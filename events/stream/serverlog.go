package stream

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"

	"golang.org/x/time/rate"
)

// serverLogger hands the server's own words on. A fatal one is an error here:
// the program that embeds the server decides when it ends.
type serverLogger struct {
	log *slog.Logger

	violations rate.Sometimes // what a device can make the log say

	mu     sync.Mutex
	failed error // the first fatal error said
}

func (l *serverLogger) Noticef(format string, v ...any) { l.say(slog.LevelInfo, format, v) }
func (l *serverLogger) Warnf(format string, v ...any) {
	l.say(l.level(slog.LevelWarn, format), format, v)
}
func (l *serverLogger) Debugf(format string, v ...any) { l.say(slog.LevelDebug, format, v) }
func (l *serverLogger) Tracef(format string, v ...any) { l.say(slog.LevelDebug, format, v) }

// Errorf is called, among others, for each message that is denied: a device that
// sends nothing else must not fill the log.
func (l *serverLogger) Errorf(format string, v ...any) {
	say := func() { l.say(slog.LevelError, format, v) }
	if strings.Contains(fmt.Sprintf(format, v...), "Violation") {
		l.violations.Do(say)
		return
	}
	say()
}

// level makes less of what concerns the server's own listeners alone: behind a
// front they are on loopback, and the front encrypts.
func (l *serverLogger) level(level slog.Level, format string) slog.Level {
	if strings.HasPrefix(format, "Websocket not configured with TLS") {
		return slog.LevelDebug
	}
	return level
}

func (l *serverLogger) Fatalf(format string, v ...any) {
	l.mu.Lock()
	if l.failed == nil {
		l.failed = fmt.Errorf(format, v...)
	}
	l.mu.Unlock()
	l.say(slog.LevelError, format, v)
}

func (l *serverLogger) say(level slog.Level, format string, v []any) {
	l.log.Log(context.Background(), level, "nats server", "text", fmt.Sprintf(format, v...))
}

// fatal returns the first fatal error that the server said, or nil.
func (l *serverLogger) fatal() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.failed
}
