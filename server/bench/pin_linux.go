package main

import (
	"os"
	"strconv"

	"golang.org/x/sys/unix"
)

// Cores that the servers and the load are pinned to.
const (
	serverCore = 0
	loadCore   = 1
)

// pin keeps every thread of this process, and those that they start, on one
// core.
func pin(core int) error {
	var set unix.CPUSet
	set.Set(core)
	tasks, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return err
	}
	for _, task := range tasks {
		id, err := strconv.Atoi(task.Name())
		if err != nil {
			return err
		}
		if err := unix.SchedSetaffinity(id, &set); err != nil {
			return err
		}
	}
	return nil
}
