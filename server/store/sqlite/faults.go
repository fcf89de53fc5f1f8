package sqlite

import (
	"context"
	"errors"

	"github.com/ncruces/go-sqlite3"

	"bowroll/server/store"
)

// Result codes of SQLite, https://sqlite.org/rescode.html.
const (
	codeBusy       = 5
	codeLocked     = 6
	codeReadOnly   = 8
	codeInterrupt  = 9
	codeIOErr      = 10
	codeCorrupt    = 11
	codeFull       = 13
	codeCantOpen   = 14
	codeConstraint = 19
	codeNotADB     = 26
	codeUnique     = 19 | 8<<8
	codePrimaryKey = 19 | 6<<8
	codeTrigger    = 19 | 7<<8
	codeIOErrData  = 10 | 32<<8
	codeCorruptFS  = 10 | 33<<8
)

// codeOf returns the extended result code of an error of either driver, 0
// where it has none.
func codeOf(err error) int {
	var own *sqlite3.Error
	if errors.As(err, &own) {
		return int(own.ExtendedCode())
	}
	var extended sqlite3.ExtendedErrorCode
	if errors.As(err, &extended) {
		return int(extended)
	}
	var plain sqlite3.ErrorCode
	if errors.As(err, &plain) {
		return int(plain)
	}
	var other interface{ Code() int }
	if errors.As(err, &other) {
		return other.Code()
	}
	return 0
}

// fault gives an error of SQLite its class.
func fault(err error) error {
	var classed *store.Error
	if err == nil || errors.As(err, &classed) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	class, reason, text := store.Internal, "STORE_FAULT", "the store failed in a way that it should not"
	code := codeOf(err)
	switch {
	case code == codeIOErrData || code == codeCorruptFS || code&0xff == codeCorrupt || code&0xff == codeNotADB:
		class, reason = store.Corrupt, "STORE_CORRUPT"
		text = "the store file is damaged: stop, keep a copy of it, and restore the last backup"
	case code&0xff == codeFull:
		class, reason = store.Full, "STORE_FULL"
		text = "the disk that holds the store is full: nothing was written; make room and send the request again"
	case code&0xff == codeReadOnly:
		class, reason = store.ReadOnly, "STORE_READ_ONLY"
		text = "the store file cannot be written: nothing was written; give the service write access to the file and its folder"
	case code&0xff == codeBusy || code&0xff == codeLocked:
		class, reason = store.Unavailable, "STORE_BUSY"
		text = "another program holds the store file: end it, then try again"
	case code&0xff == codeIOErr || code&0xff == codeCantOpen:
		class, reason = store.Unavailable, "STORE_IO"
		// The driver passes a full disk on as this where the system says so.
		text = "the store file cannot be read or written, because the disk is full or fails: look at the disk, make room, then send the same request again"
	case code&0xff == codeInterrupt:
		return context.Canceled
	case code == codeTrigger || code&0xff == codeConstraint:
		class, reason = store.Internal, "STORE_CONSTRAINT"
		text = "the store refused a row that breaks its own rules; nothing was written"
	}
	return &store.Error{Class: class, Reason: reason, Text: text, Err: err}
}
