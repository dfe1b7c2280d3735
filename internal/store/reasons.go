package store

import "waycall/internal/store/internal/jobfile"

// The reasons for which a job cannot be opened, read or added to. Test for them
// with errors.Is; the error itself says more, and what to do.
var (
	ErrInUse    = jobfile.ErrInUse
	ErrForeign  = jobfile.ErrForeign
	ErrNewer    = jobfile.ErrNewer
	ErrDamaged  = jobfile.ErrDamaged
	ErrFull     = jobfile.ErrFull
	ErrReadOnly = jobfile.ErrReadOnly
	ErrDenied   = jobfile.ErrDenied
	ErrDisk     = jobfile.ErrDisk
	ErrGone     = jobfile.ErrGone
	ErrChanged  = jobfile.ErrChanged
	ErrReplaced = jobfile.ErrReplaced
	// ErrElsewhere: the job's own file is lost, and all that was stored was written out of
	// the open file to the one that Store.Rescued tells.
	ErrElsewhere = jobfile.ErrElsewhere
	ErrOvertaken = jobfile.ErrOvertaken
	ErrNotCopy   = jobfile.ErrNotCopy
	ErrInvalid   = jobfile.ErrInvalid
	ErrNoSound   = jobfile.ErrNoSound
	// ErrLog comes with ErrDamaged when the write-ahead log is damaged, cut short or gone,
	// and events that were stored are missing: PutLogAside lets work go on.
	ErrLog = jobfile.ErrLog
	// ErrUnsure comes with ErrDisk, ErrFull or ErrReadOnly from an Append whose commit
	// failed after all of it may have been in the file: the batch may be stored, or not.
	ErrUnsure = jobfile.ErrUnsure
)

// WithoutPath returns the text of an error of this package without what was being done to
// which file: a path holds the name of the job and of whoever keeps it. Any other error is
// told as it is, but for the path of the system's own.
func WithoutPath(err error) string { return jobfile.WithoutPath(err) }

// SizeByHeader returns how many bytes a database has by the first 100 of them, and
// whether they say it.
func SizeByHeader(head []byte) (bytes int64, ok bool) { return jobfile.SizeByHeader(head) }
