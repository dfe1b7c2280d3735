package store

import (
	"errors"

	"waycall/internal/record"
	"waycall/internal/sound"
	"waycall/internal/store/internal/jobfile"
)

// checkBatch looks at what Append was given before the log is touched, and
// returns the format and rate of the sound.
func checkBatch(batch []record.Event, kept []byte) (format string, rate int, err error) {
	heard := false
	for i := range batch {
		e := &batch[i]
		err := e.Check()
		switch {
		case err != nil:
		case e.Kind == record.Heard && heard:
			err = errors.New("a second heard phrase in one batch")
		}
		if err != nil {
			return "", 0, wrongEvent(i, e, err)
		}
		heard = heard || e.Kind == record.Heard
	}
	if heard != (len(kept) > 0) {
		return "", 0, jobfile.Fault(ErrInvalid, "a heard phrase and its sound are stored together or not at all", "")
	}
	if !heard {
		return "", 0, nil
	}
	if format, rate, err = sound.Format(kept, jobfile.MostSound); err != nil {
		return "", 0, jobfile.Fault(ErrInvalid, "the sound: "+err.Error(), "")
	}
	return format, rate, nil
}

// Samples returns the samples of a sound as it is kept, a 16-bit mono WAV or FLAC
// file, and how many there are a second. Nothing is resampled. The error says what
// is wrong with it.
func Samples(kept []byte) (samples []int16, rate int, err error) {
	return sound.Samples(kept, jobfile.MostSound)
}
