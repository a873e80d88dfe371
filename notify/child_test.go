package notify_test

// childDir tells a copy of the test binary to be an engine on a folder.
const childDir = "EARLYAGE_TEST_TELLING"

func runChild(string) error { return nil }
