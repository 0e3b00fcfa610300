package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
)

// What a call can fail with. Every error of this package matches one of these with
// errors.Is, or is a fault of the program.
var (
	ErrNotFound        = errors.New("not found") // also for what belongs to another organisation
	ErrForbidden       = errors.New("not allowed for this key")
	ErrUnauthenticated = errors.New("key unknown or revoked")
	ErrInvalid         = errors.New("invalid")
	ErrStale           = errors.New("changed by someone else since it was read") // version or state moved on
	ErrTokenReused     = errors.New("idempotency key was used for another request")
	ErrSchema          = errors.New("database schema does not fit this program")
	ErrUnavailable     = errors.New("database unavailable")
	ErrFull            = errors.New("database has no room left") // matches ErrUnavailable too
)

// Unavailable is a database that could not be reached, did not answer in time or
// has no room. A write that ended so may have been carried out, if the answer
// was lost after the commit: repeat it with the same idempotency key.
type Unavailable struct {
	RetryAfter time.Duration // what to tell the caller
	Full       bool
	Cause      error
}

func (e *Unavailable) Error() string {
	if e.Full {
		return ErrFull.Error() + ": " + e.Cause.Error()
	}
	return ErrUnavailable.Error() + ": " + e.Cause.Error()
}

// Unwrap gives the driver's error.
func (e *Unavailable) Unwrap() error { return e.Cause }

// Is matches ErrUnavailable and, of a full disk, ErrFull.
func (e *Unavailable) Is(target error) bool {
	return target == ErrUnavailable || e.Full && target == ErrFull
}

// How long a caller should wait. Own choices: a restart of the server takes
// seconds, making room takes a person.
const (
	retryLost = 2 * time.Second
	retryFull = 60 * time.Second
)

// SQLite's primary result codes, as published in its documentation.
const (
	sqliteBusy       = 5
	sqliteLocked     = 6
	sqliteReadOnly   = 8
	sqliteIOErr      = 10
	sqliteFull       = 13
	sqliteCantOpen   = 14
	sqliteProtocol   = 15
	sqliteConstraint = 19
)

// classify turns a driver's error into one of the errors above where it is one.
// The caller's own cancelled or expired context stays what it is.
func classify(caller context.Context, err error) error {
	if err == nil || errors.Is(err, ErrUnavailable) {
		return err
	}
	if done := caller.Err(); done != nil {
		if !errors.Is(err, done) { // as where database/sql has rolled back by itself meanwhile
			err = fmt.Errorf("%w: %w", done, err)
		}
		return err
	}
	lost := &Unavailable{RetryAfter: retryLost, Cause: err}
	full := &Unavailable{RetryAfter: retryFull, Full: true, Cause: err}

	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		switch {
		case pg.Code == "53100": // disk_full
			return full
		case strings.HasPrefix(pg.Code, "08"), // connection exceptions
			strings.HasPrefix(pg.Code, "57P"), // shutting down, crashed, starting up, dropped
			pg.Code == "57014",                // statement timeout
			pg.Code == "25P03", pg.Code == "25006",
			strings.HasPrefix(pg.Code, "53"), // out of memory or connections
			strings.HasPrefix(pg.Code, "58"), // system error outside PostgreSQL
			pg.Code == "55P03":               // lock not available
			if strings.Contains(pg.Message, "No space left") {
				return full
			}
			return lost
		case pg.Code == "23503": // what it belongs to was deleted meanwhile
			return fmt.Errorf("%w: %w", ErrNotFound, err)
		}
		return err
	}
	var lite *sqlite.Error
	if errors.As(err, &lite) {
		switch lite.Code() & 0xff {
		case sqliteFull:
			return full
		case sqliteBusy, sqliteLocked, sqliteReadOnly, sqliteIOErr, sqliteCantOpen, sqliteProtocol:
			return lost
		case sqliteConstraint:
			if lite.Code()>>8 == 3 { // foreign key
				return fmt.Errorf("%w: %w", ErrNotFound, err)
			}
		}
		return err
	}
	var network net.Error
	var connect *pgconn.ConnectError
	if connectionGone(err) || errors.As(err, &connect) || errors.As(err, &network) || errors.Is(err, context.DeadlineExceeded) ||
		errors.Is(err, sql.ErrTxDone) { // database/sql has rolled it back, as its time was over
		return lost
	}
	return err
}

// connectionGone reports that a connection which there was is none any more. Where
// nothing was sent yet, the driver says so, or in a transaction database/sql does.
func connectionGone(err error) bool {
	var network *net.OpError
	return pgconn.SafeToRetry(err) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, pgconn.ErrConnClosed) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &network) && !network.Timeout()
}

// wasLostIdle reports, of an error at the begin of a transaction, that its connection
// had gone before. One that could not be made was not lost.
func wasLostIdle(err error) bool {
	var pg *pgconn.PgError
	var connect *pgconn.ConnectError
	if errors.As(err, &pg) {
		return pg.Code == "57P01" || pg.Code == "57P02" // ended by an administrator, or by a crash
	}
	return !errors.As(err, &connect) && connectionGone(err)
}

// isDuplicate reports a broken unique constraint.
func isDuplicate(err error) bool {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return pg.Code == "23505"
	}
	var lite *sqlite.Error
	// The extended codes of a primary key and of a unique index.
	return errors.As(err, &lite) && lite.Code()&0xff == sqliteConstraint && (lite.Code()>>8 == 6 || lite.Code()>>8 == 8)
}

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...))
}

// isSerialization reports a transaction that PostgreSQL gave up so that another
// could go on; it had no effect and may be run again.
func isSerialization(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "40001" || pg.Code == "40P01")
}
