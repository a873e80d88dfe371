package browser

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// Suite is the tests of a package that share one Chromium: it starts with the
// first that asks for it and ends after the last. Made by NewSuite, in TestMain.
type Suite struct {
	tests interface{ Run() int }

	mu      sync.Mutex
	profile string    // mu
	running *chromium // mu
}

// NewSuite is for TestMain: the tests ask the suite for the browser, and its Run
// ends it.
func NewSuite(m *testing.M) *Suite { return &Suite{tests: m} }

// Browser gives a test the browser. The tests share the process alone: each Tab
// has cookies, storage, workers and permissions of its own, so they may run side
// by side. A test that harms the process starts its own.
func (s *Suite) Browser(t testing.TB) *Browser {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.running == nil {
		profile, err := os.MkdirTemp("", "earlyage-browser-")
		require.NoError(t, err)
		c, err := launch(profile)
		if err != nil {
			err = errors.Join(err, os.RemoveAll(profile))
		}
		require.NoError(t, err)
		s.profile, s.running = profile, c
	}
	return &Browser{t: t, ctx: s.running.ctx}
}

// Run runs the tests and ends the browser: a failure to is one of the tests.
func (s *Suite) Run() int {
	code := s.tests.Run()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.running == nil {
		return code
	}
	err := errors.Join(s.running.end(), os.RemoveAll(s.profile))
	if s.running = nil; err != nil {
		fmt.Fprintln(os.Stderr, "close the browser:", err)
		return max(code, 1)
	}
	return code
}
