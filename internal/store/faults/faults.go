// Package faults makes the disk fail below SQLite, for tests: at the n-th write,
// with an error of one's choice, once or from then on, and with half of what was to
// be written or nothing; or at the n-th lock of its write-ahead log that is given back.
//
// SQLite's unix VFS lets its system calls be replaced one by one, which its own
// tests use (xSetSystemCall, see sqlite.org/c3ref/vfs.html); this package replaces
// those that change a file or its locks. It sees nothing of fsync, which cannot be replaced there,
// nor of what is written through the memory map of the -shm file, which no crash
// needs. It works on the whole process, so tests that use it do not run in parallel.
package faults

/*
#cgo linux LDFLAGS: -Wl,--unresolved-symbols=ignore-in-object-files
#include "faults.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"syscall"

	_ "github.com/mattn/go-sqlite3" // holds the SQLite whose calls are replaced
)

// Plan says when and how writes fail.
type Plan struct {
	At   int           // the number of the write that fails, from 1; 0 for none
	With syscall.Errno // what it fails with
	On   bool          // every write after it fails, too: a disk that has had enough
	Torn bool          // half of what was to be written is on the disk

	// Unlocks counts, and lets fail, what gives a lock of a write-ahead log back, in place
	// of writes. SQLite does not wait between two tries then.
	Unlocks bool
}

// String returns the plan as a test names it.
func (p Plan) String() string {
	s := fmt.Sprintf("%s %d fails with %s", map[bool]string{false: "write", true: "unlock"}[p.Unlocks], p.At, map[syscall.Errno]string{syscall.EIO: "EIO", syscall.ENOSPC: "ENOSPC", syscall.ENOLCK: "ENOLCK"}[p.With])
	if p.On {
		s += ", and so do those after it"
	}
	if p.Torn {
		s += ", half done"
	}
	return s
}

// Begin counts writes, or unlocks, from here on and lets them fail by the plan.
func Begin(p Plan) error {
	if C.faults_install() != 0 {
		return errors.New("the system calls of SQLite cannot be replaced")
	}
	C.faults_begin(C.int(p.At), C.int(p.With), cBool(p.On), cBool(p.Torn), cBool(p.Unlocks))
	return nil
}

// End lets everything through again and returns how many of them there were since Begin.
func End() int { return int(C.faults_end()) }

func cBool(b bool) C.int {
	if b {
		return 1
	}
	return 0
}
