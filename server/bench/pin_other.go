//go:build !linux

package main

import "errors"

// Cores that the servers and the load would be pinned to.
const (
	serverCore = 0
	loadCore   = 1
)

// pin cannot keep a process on one core here.
func pin(int) error { return errors.ErrUnsupported }
