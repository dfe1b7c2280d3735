package store

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"github.com/mattn/go-sqlite3"

	"waycall/internal/store/internal/jobfile"
)

// SQLite keeps its own account of the locks on the shared memory of a write-ahead log, one
// for the whole process. When the system refuses to take a lock back, the account goes on
// holding it, and from then on every connection of this process is refused: after some ten
// seconds with SQLITE_PROTOCOL, or after jobfile.BusyWait with SQLITE_BUSY, as if another program
// were writing. The account ends with the last connection. So all of them are closed and
// opened anew, in order: SQLite moves the log into the file then, as at the end of a session.

// renewAfter is how long after that it is not done again because of SQLITE_BUSY, which
// another program may be the reason of: the whole record is read each time.
const renewAfter = 30 * time.Second

// noteJam notes an error that may come of a lock that nobody gives back.
func (s *Store) noteJam(err error) {
	var lite sqlite3.Error
	if !errors.As(err, &lite) {
		return
	}
	if lite.Code == sqlite3.ErrProtocol || lite.Code == sqlite3.ErrBusy && time.Since(s.renewed) > renewAfter {
		s.jammed.Store(true)
	}
}

// usable makes sure that the files are as this store left them, as secure does, and that
// they can be worked with. Errors: those of secure and, where the files have to be opened
// anew, those of Open.
func (s *Store) usable() error {
	if s.abandoned != nil {
		return s.abandoned
	}
	if s.stop != nil { // else there is nothing to look at: nothing is open
		if err := s.secure(false); err != nil {
			return err
		}
	}
	if !s.jammed.Load() {
		return nil
	}
	if err := s.reopen(); err != nil {
		return err
	}
	s.jammed.Store(false)
	s.renewed = time.Now()
	return nil
}

// goesOn fails, and gives the store up, unless a record that was opened anew ends where
// this store left it. A batch that failed may have come back with its log, and then what
// was said of it would not hold; the file beside the job still has it as in doubt, and the
// next start says what is there.
func (s *Store) goesOn(now jobfile.Told) error {
	id, sum := s.held.last()
	switch {
	case now.ID == id && (id == 0 || bytes.Equal(now.Sum[:], sum)):
		return nil
	case now.ID > id:
		detail := fmt.Sprintf("it goes on to event %d, and event %d was the last that was told to be stored here", now.ID, id)
		s.abandoned = &jobfile.Error{Reason: ErrOvertaken, Also: ErrUnsure, Detail: detail, Do: "end this session and begin again, which goes on with what is there"}
	default:
		s.abandoned = jobfile.Fault(ErrChanged, fmt.Sprintf("event %d, the last that was stored, is not in it", id), "")
	}
	return s.abandoned
}
