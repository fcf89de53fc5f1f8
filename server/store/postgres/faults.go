package postgres

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"

	"bowroll/server/store"
)

// States of PostgreSQL, https://www.postgresql.org/docs/current/errcodes-appendix.html.
const (
	uniqueViolation      = "23505"
	serializationFailure = "40001"
	deadlockDetected     = "40P01"
	readOnlyTransaction  = "25006"
	diskFull             = "53100"
	queryCanceled        = "57014"
	dataCorrupted        = "XX001"
	indexCorrupted       = "XX002"
)

// stateOf returns the SQLSTATE of an error, empty where it has none.
func stateOf(err error) string {
	var own *pgconn.PgError
	if errors.As(err, &own) {
		return own.Code
	}
	return ""
}

// conflict reports whether err is a conflict with another transaction that
// running the change again may settle.
func conflict(err error) bool {
	state := stateOf(err)
	return state == serializationFailure || state == deadlockDetected
}

// fault gives an error of PostgreSQL its class.
func fault(err error) error {
	var classed *store.Error
	if err == nil || errors.As(err, &classed) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	class, reason, text := store.Internal, "STORE_FAULT", "the store failed in a way that it should not"
	switch state := stateOf(err); {
	case state == diskFull:
		class, reason = store.Full, "STORE_FULL"
		text = "the disk of the database is full: nothing was written; make room and send the request again"
	case state == readOnlyTransaction:
		class, reason = store.ReadOnly, "STORE_READ_ONLY"
		text = "the database takes no changes (a standby?): name the one that does"
	case state == dataCorrupted || state == indexCorrupted:
		class, reason = store.Corrupt, "STORE_CORRUPT"
		text = "the database is damaged: stop, and restore the last backup"
	case state == queryCanceled || state == "55P03":
		class, reason = store.Unavailable, "STORE_BUSY"
		text = "the database did not answer in time: try again"
	case state == "" && own(err):
		// An error of our own, from the change.
		return err
	case state == "" || len(state) == 5 && (state[:2] == "08" || state[:2] == "57" || state[:2] == "53"):
		class, reason = store.Unavailable, "STORE_UNREACHABLE"
		text = "the database cannot be reached, or is starting or stopping: try again"
	case len(state) == 5 && state[:2] == "23":
		reason = "STORE_CONSTRAINT"
		text = "the store refused a row that breaks its own rules; nothing was written"
	case state == "28P01" || state == "28000" || state == "3D000" || state == "42501":
		class, reason = store.Refused, "STORE_ACCESS"
		text = "the database refuses this user, or does not exist: look at the address of the store"
	}
	return &store.Error{Class: class, Reason: reason, Text: text, Err: err}
}

// own reports whether err has nothing to do with the connection.
func own(err error) bool {
	var connect *pgconn.ConnectError
	var timeout interface{ Timeout() bool }
	return !errors.As(err, &connect) && !errors.As(err, &timeout) && !pgconn.SafeToRetry(err) && !lostConnection(err)
}

// lostConnection reports whether err came from a connection that broke.
func lostConnection(err error) bool {
	for _, broken := range []error{io.EOF, io.ErrUnexpectedEOF, net.ErrClosed, syscall.ECONNRESET, syscall.EPIPE, syscall.ECONNREFUSED} {
		if errors.Is(err, broken) {
			return true
		}
	}
	return strings.Contains(err.Error(), "conn closed") || strings.Contains(err.Error(), "closed pool")
}
