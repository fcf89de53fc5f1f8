package sweep

import (
	"time"

	"golang.org/x/sys/unix"
)

// threadTime is the processor time of the calling thread.
func threadTime() time.Duration {
	var used unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_THREAD, &used); err != nil {
		return 0
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
