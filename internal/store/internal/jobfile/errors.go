package jobfile

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	"github.com/mattn/go-sqlite3"

	"waycall/internal/printable"
)

// The reasons for which a job cannot be opened, read or added to. Package store offers
// them to others, and says more of some.
var (
	ErrInUse     = errors.New("job is open in another session")
	ErrForeign   = errors.New("not a waycall job")
	ErrNewer     = errors.New("made by a newer waycall")
	ErrDamaged   = errors.New("the file is damaged")
	ErrFull      = errors.New("the disk is full")
	ErrReadOnly  = errors.New("it cannot be written to")
	ErrDenied    = errors.New("you may not read it")
	ErrDisk      = errors.New("the disk or its file system failed")
	ErrGone      = errors.New("the file or its disk was taken away while in use")
	ErrChanged   = errors.New("another program has changed the file while it was in use")
	ErrReplaced  = errors.New("another record lies there now")
	ErrElsewhere = errors.New("the file was changed or replaced while in use, and all that was stored is in another one now")
	ErrOvertaken = errors.New("another session has written to it meanwhile")
	ErrNotCopy   = errors.New("another record lies there under the same name")
	ErrInvalid   = errors.New("not a batch of events that can be stored")
	ErrNoSound   = errors.New("no sound is kept there")
	ErrLog       = errors.New("its write-ahead log is damaged")
	ErrUnsure    = errors.New("it may be stored, or not")
)

// WhatToDo is the end of an error's text.
var WhatToDo = map[error]string{
	ErrInUse:       "finish it there first",
	ErrForeign:     "choose the file of a job, or take a copy of the job from a backup",
	ErrNewer:       "use that waycall, or a later one",
	ErrDamaged:     "leave the file as it is and go on with a copy from a backup",
	ErrFull:        "nothing of this was stored; make room on the disk and say it again",
	ErrReadOnly:    "choose a folder and a file that you may write to",
	ErrDenied:      "its permissions allow it to others only; have its owner export it, or let you read it",
	ErrOvertaken:   "end this session and begin again, which goes on with what the other one stored",
	ErrDisk:        "check the disk, then try again",
	ErrGone:        "put it back, then end this session and begin again",
	ErrChanged:     "leave it as it is and go on with the copy, or with one from a backup",
	ErrElsewhere:   "begin again with that one",
	ErrReplaced:    "open it anew",
	ErrNotCopy:     "name another folder, or move that file elsewhere",
	ErrInvalid:     "this is a mistake in waycall; please report it with this line",
	ErrUnsure:      "it may be stored or not; check the disk, and begin again: the start says which",
	ErrNoSound:     "ask for an event of kind heard",
	fs.ErrNotExist: "check the path, or set up a new job",
	fs.ErrExist:    "open that job, or choose another name",
}

// Error is the one error type of this package: what failed, on which file,
// which of the reasons above, in detail, and what to do.
type Error struct {
	doing, path string // empty until explain adds them
	Reason      error
	Also        error // another reason that holds, too, or nil
	Detail, Do  string
	Cause       error // what SQLite or the system said; nil when we found it
}

// Error says what could not be done with which file, why, and what to do.
func (e *Error) Error() string {
	return fmt.Sprintf("could not %s %s: %s", e.doing, e.path, e.rest(e.Detail))
}

// Advice returns what to do; see package advice.
func (e *Error) Advice() string { return e.Do }

// rest is the text after what was done to which file.
func (e *Error) rest(detail string) string {
	s := e.Reason.Error()
	if detail != "" {
		s += " (" + detail + ")"
	}
	return s + "; " + e.Do
}

// WithoutPath returns the text of an error of this package without what was being done to
// which file: a path holds the name of the job and of whoever keeps it. Any other error is
// told as it is, but for the path of the system's own.
func WithoutPath(err error) string {
	var e *Error
	var system *fs.PathError
	switch {
	case errors.As(err, &e) && e.path != "":
		return e.rest(strings.ReplaceAll(e.Detail, e.path, "the file"))
	case errors.As(err, &system):
		return system.Op + ": " + system.Err.Error()
	}
	return err.Error()
}

// Unwrap returns the reasons that hold, and what SQLite or the system said.
func (e *Error) Unwrap() []error {
	all := []error{e.Reason}
	for _, err := range []error{e.Also, e.Cause} {
		if err != nil {
			all = append(all, err)
		}
	}
	return all
}

// Fault returns an error for something this package found itself. Without
// advice it is the usual advice for the reason.
func Fault(reason error, detail, advice string) error {
	if advice == "" {
		advice = WhatToDo[reason]
	}
	return &Error{Reason: reason, Detail: detail, Do: advice}
}

// OneLine is what SQLite found, without its heading and with whatever a damaged file
// put into it made fit for a line of an error.
func OneLine(found string) string {
	found = printable.Words(strings.ReplaceAll(found, "*** in database main ***\n", ""))
	// Where the tables are damaged SQLite adds how they were made.
	if at := strings.Index(strings.ToUpper(found), "CREATE"); at > 0 {
		found = strings.TrimRight(found[:at], " -:(\"'") + " ..."
	}
	return printable.Cut(found, mostFound)
}

// mostFound is how many characters of what SQLite found are told.
const mostFound = 300

// Explain says what was being done to which file, and turns an error of SQLite
// or the system into one of this package's.
func Explain(doing, path string, err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var e *Error
	if !errors.As(err, &e) {
		reason := ReasonFor(err)
		e = &Error{Reason: reason, Detail: OneLine(err.Error()), Do: WhatToDo[reason], Cause: err}
		if errors.Is(reason, fs.ErrExist) || errors.Is(reason, fs.ErrNotExist) {
			e.Detail = "" // it would only say the same again
		}
	}
	e.doing, e.path = doing, path
	return e
}

// ReasonFor sorts an error of SQLite or of the system.
func ReasonFor(err error) error {
	var sys syscall.Errno
	var lite sqlite3.Error
	if errors.As(err, &lite) {
		switch lite.Code {
		case sqlite3.ErrFull:
			return ErrFull
		case sqlite3.ErrReadonly, sqlite3.ErrPerm:
			return ErrReadOnly
		case sqlite3.ErrCorrupt:
			return ErrDamaged
		case sqlite3.ErrNotADB, sqlite3.ErrFormat:
			return ErrForeign
		case sqlite3.ErrBusy, sqlite3.ErrLocked:
			return ErrInUse
		case sqlite3.ErrConstraint, sqlite3.ErrMismatch, sqlite3.ErrTooBig:
			return ErrInvalid
		case sqlite3.ErrError:
			// A version of tables that SQLite does not know has no code of its own.
			if strings.Contains(lite.Error(), "unsupported file format") {
				return ErrDamaged
			}
		}
		sys = lite.SystemErrno
	} else {
		errors.As(err, &sys)
	}
	switch sys {
	case syscall.ENOSPC, syscall.EDQUOT:
		return ErrFull
	case syscall.EROFS, syscall.EACCES, syscall.EPERM:
		return ErrReadOnly
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fs.ErrNotExist
	case errors.Is(err, fs.ErrExist):
		return fs.ErrExist
	}
	return ErrDisk
}

// InDoubt makes ErrUnsure of an error of a commit that does not say whether the batch is
// in the file: a disk that fails when it is to make the log last (fsync) may have taken
// it before, and a write that failed may have been the last one. A full disk stops before
// the frame that would make the batch valid.
func InDoubt(err error) error {
	var lite sqlite3.Error
	if !errors.As(err, &lite) || lite.Code != sqlite3.ErrIoErr {
		return err
	}
	return &Error{Reason: ReasonFor(err), Also: ErrUnsure, Detail: OneLine(err.Error()), Do: WhatToDo[ErrUnsure], Cause: err}
}

// AlsoUnsure is an error after a commit, of which it is not known where it is.
func AlsoUnsure(err error) error {
	var e *Error
	if !errors.As(err, &e) {
		return errors.Join(err, ErrUnsure)
	}
	with := *e
	with.Also = ErrUnsure
	return &with
}

// Unread reports whether an error of reading a record says nothing of the record: a lock
// was not given, or the system or the disk failed. A read that came up short is not of
// these, because it tells that something was cut off.
func Unread(err error) bool {
	var lite sqlite3.Error
	if !errors.As(err, &lite) || lite.ExtendedCode == sqlite3.ErrIoErrShortRead {
		return false
	}
	switch lite.Code {
	case sqlite3.ErrBusy, sqlite3.ErrLocked, sqlite3.ErrProtocol, sqlite3.ErrIoErr, sqlite3.ErrCantOpen,
		sqlite3.ErrNomem, sqlite3.ErrFull, sqlite3.ErrPerm, sqlite3.ErrReadonly:
		return true
	}
	return false
}

// IsReadOnly reports whether SQLite could not make the files it needs beside a
// database.
func IsReadOnly(err error) bool {
	var lite sqlite3.Error
	return errors.As(err, &lite) && (lite.Code == sqlite3.ErrReadonly || lite.Code == sqlite3.ErrCantOpen)
}
