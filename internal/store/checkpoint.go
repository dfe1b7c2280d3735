package store

import (
	"os"
	"time"

	"waycall/internal/store/internal/jobfile"
)

// The write-ahead log is moved into the file after checkpointAfter, or once it is
// as long as checkpointAt, whichever comes first, as soon as nothing was written for
// the time of lull: the next phrase would wait for the disk otherwise, and SQLite
// itself would do it within a commit. A log as long as checkpointMust waits for
// nothing.
const (
	checkpointAfter = time.Minute
	checkpointAt    = 4 << 20  // bytes
	checkpointMust  = 48 << 20 // bytes
	lull            = 300 * time.Millisecond
)

// checkpoints moves the log into the file from time to time, on a connection of its
// own, until stop is closed. A checkpoint that fails has lost nothing: it is tried
// again, and where the disk itself fails the next Append says so.
func (s *Store) checkpoints(stop <-chan struct{}) {
	db := jobfile.OpenDB(s.path, "mode=rw", jobfile.WriterPragmas...)
	defer db.Close()
	written := s.changes.follow()
	var due <-chan time.Time   // checkpointAfter the first write since the last one; nil when there was none
	var quiet <-chan time.Time // when the lull is over; nil when none is waited for
	late := false              // due is over
	for {
		select {
		case <-stop:
			return
		case <-due:
			due, late = nil, true
			quiet = time.After(lull)
			continue
		case <-written:
			if due == nil && !late {
				due = time.After(checkpointAfter)
			}
			info, err := os.Stat(s.path + "-wal")
			if err != nil || info.Size() < checkpointAt && !late {
				continue
			}
			if info.Size() < checkpointMust {
				quiet = time.After(lull)
				continue
			}
		case <-quiet:
		}
		quiet = nil
		done, ok := s.held.checkpointing(s.path)
		if !ok {
			continue
		}
		// PASSIVE waits for nobody and keeps nobody waiting.
		if _, err := db.Exec("PRAGMA wal_checkpoint(PASSIVE)"); err == nil {
			due, late = nil, false
			s.head.Last()
		}
		done()
	}
}
