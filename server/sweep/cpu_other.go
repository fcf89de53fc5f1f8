//go:build !linux

package sweep

import "time"

var begun = time.Now()

// threadTime is the time gone by: what a thread used is not told here.
func threadTime() time.Duration { return time.Since(begun) }
