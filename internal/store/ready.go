package store

import (
	"context"
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"

	"waycall/internal/store/internal/jobfile"
)

// reserve is the room on the disk, in bytes, below which no further phrase is
// taken: more than the longest phrase and all that SQLite writes around it.
const reserve = 4 << 20

// Ready reports whether the next phrase can be stored, before anybody has said it:
// the file is still there and may be written to, and there is room for it. It takes
// a millisecond or less and leaves nothing behind. A file that was taken away is written
// back, see Rescued. After an Append that failed it
// also tries to write, which settles what an ErrUnsure left open: after a nil nothing
// of that batch is in the log. Errors: ErrGone, ErrReadOnly, ErrFull, ErrInUse,
// ErrDisk. A nil is no promise; Append has the last word.
func (s *Store) Ready() error {
	err := s.ready()
	s.noteJam(err)
	return jobfile.Explain("store in the job", s.path, err)
}

func (s *Store) ready() error {
	if s.readOnly {
		return jobfile.Fault(ErrReadOnly, "it was opened for reading only", "open it for work")
	}
	if err := s.usable(); err != nil {
		return err
	}
	if !s.lock.Held() {
		// Somebody removed the lock file. It is made again, unless another session
		// has begun meanwhile.
		lock, err := jobfile.AcquireLock(s.path)
		if err != nil {
			return err
		}
		s.lock.File.Close()
		s.lock.File, s.lock.Lost = lock.File, true
	}
	if err := unix.Access(s.path, unix.W_OK); err != nil {
		return err
	}
	if err := tryRoom(s.path+".room", reserve); err != nil || !s.tryFirst.Load() {
		return err
	}
	return s.tryWrite()
}

// tryWait is how long tryWrite waits for another program that writes, in ms.
const tryWait = 200

// tryWrite writes to the log, changing nothing, as Append does: what is left of an
// Append that failed is written over, so that it is not in the log for certain.
func (s *Store) tryWrite() error {
	s.afterFailure()
	ctx := context.Background()
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, fmt.Sprintf("PRAGMA busy_timeout = %d", tryWait)); err != nil {
		return err
	}
	defer func() { _, _ = conn.ExecContext(ctx, fmt.Sprintf("PRAGMA busy_timeout = %d", jobfile.BusyWait)) }()
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	// SQLite writes the first page for this even when the figure is the same.
	if _, err := tx.Exec(fmt.Sprintf("PRAGMA user_version = %d", len(jobfile.Migrations))); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	s.tryFirst.Store(false)
	return s.secure(true)
}

// tryRoom claims size bytes for a file that it makes at path, and gives them back.
func tryRoom(path string, size int64) (err error) {
	os.Remove(path) // what a killed session may have left
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY|unix.O_NOFOLLOW, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		f.Close()
		if gone := os.Remove(path); err == nil {
			err = gone
		}
	}()
	err = unix.Fallocate(int(f.Fd()), 0, 0, size)
	if !errors.Is(err, unix.EOPNOTSUPP) && !errors.Is(err, unix.ENOSYS) {
		return err
	}
	// A file system that cannot promise room says at least how much there is.
	var room unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &room); err != nil {
		return err
	}
	if int64(room.Bavail)*room.Bsize < size {
		return unix.ENOSPC
	}
	_, err = f.Write(make([]byte, 4096))
	return err
}
