// Package browser lets tests use a page as a person does, in a real Chromium:
// open it at the size of a phone or of a desk, press, type, look at a picture,
// cut the network. Only tests import it.
//
// Nothing is left out where a tool is missing: the test then fails and says what
// to install. Each browser has a profile of its own and is gone with the test.
//
// What every page has to hold is asked of it here: no script's error on the
// console (Tab fails the test that had one), no sideways scrolling, no finding
// of axe-core, valid HTML.
package browser
