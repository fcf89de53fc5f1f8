package store

import (
	"errors"
	"fmt"
)

// Class is what an error means to a caller.
type Class int

// The classes of error. See [Store].
const (
	// Internal is a fault of the program. It is the zero value.
	Internal Class = iota
	NotFound
	Exists
	Refused
	Changed
	Reused
	Invalid
	Unavailable
	Full
	ReadOnly
	Corrupt
	Newer
)

var classNames = [...]string{
	"internal", "not found", "exists", "refused", "changed", "reused",
	"invalid", "unavailable", "full", "read-only", "corrupt", "newer",
}

// String returns the name of the class.
func (c Class) String() string {
	if c < 0 || int(c) >= len(classNames) {
		return "internal"
	}
	return classNames[c]
}

// Error is an error with a class, a reason for programs and a text for people.
type Error struct {
	// Class says what a caller may do.
	Class Class
	// Reason is a short stable name in upper snake case, e.g. "UNIT_NOT_AVAILABLE".
	Reason string
	// Field is the argument at fault, where there is one, e.g. "units[3]".
	Field string
	// Text says in one sentence what is wrong and what to do.
	Text string
	// Details holds the names and values that Text speaks of.
	Details map[string]string
	// Err is the cause, where there is one. It is not for callers.
	Err error
}

// Error returns the text.
func (e *Error) Error() string {
	if e.Err != nil {
		return e.Text + ": " + e.Err.Error()
	}
	return e.Text
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Errorf returns an error of a class with a reason and a formatted text.
func Errorf(class Class, reason, format string, args ...any) *Error {
	return &Error{Class: class, Reason: reason, Text: fmt.Sprintf(format, args...)}
}

// With returns the error with one more detail.
func (e *Error) With(key, value string) *Error {
	if e.Details == nil {
		e.Details = make(map[string]string)
	}
	e.Details[key] = value
	return e
}

// At returns the error with the argument at fault.
func (e *Error) At(field string) *Error {
	e.Field = field
	return e
}

// ClassOf returns the class of an error, [Internal] where it has none.
func ClassOf(err error) Class {
	var e *Error
	if errors.As(err, &e) {
		return e.Class
	}
	return Internal
}

// Is reports whether err is of a class.
func Is(err error, class Class) bool {
	var e *Error
	return errors.As(err, &e) && e.Class == class
}

// Errors is a list of faults that were found together. As an error it is of
// the class of its first.
type Errors []*Error

// Error returns the texts, one after the other.
func (e Errors) Error() string {
	text := ""
	for i, fault := range e {
		if i > 0 {
			text += "; "
		}
		text += fault.Error()
	}
	return text
}

// Unwrap returns the faults.
func (e Errors) Unwrap() []error {
	list := make([]error, len(e))
	for i, fault := range e {
		list[i] = fault
	}
	return list
}

// Err returns the list as an error, nil where it is empty.
func (e Errors) Err() error {
	if len(e) == 0 {
		return nil
	}
	return e
}
