package record

import (
	"time"

	"waycall/internal/board"
)

// Open returns the event with which the record of a job begins: it is set up at a time,
// and every reading of it is to be confirmed aloud. A session that begins adds to it only
// what differs.
func Open(job board.Job, at time.Time) Event {
	return Event{ID: 1, At: at.UTC().Round(0), Kind: Opened, Job: &job}
}
