package board_test

import (
	"os"
	"testing"

	"earlyage/cmd/earlyage/internal/browser"
)

// suite has the one Chromium of all tests here; each tab is a person of its own.
var suite *browser.Suite

func TestMain(m *testing.M) {
	suite = browser.NewSuite(m)
	os.Exit(suite.Run())
}
