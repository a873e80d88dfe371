package stream_test

const childDir = "STREAM_TEST_CHILD_DIR"

func childMain(dir string) int { return 0 }
