package scheduler

import "golang.org/x/sys/unix"

// MachineSynchronised reports whether the kernel says that a time server keeps
// the machine's clock. Setting the clock by hand takes the mark away until the
// time daemon has the clock under control again.
func MachineSynchronised() bool {
	var t unix.Timex // no mode set: read only, no privilege needed
	state, err := unix.Adjtimex(&t)
	return err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
}
