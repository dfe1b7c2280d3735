// This file reads the sound of one phrase as a job keeps it, in memory.

package sound

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"
)

// Format says what kind of file b is, "wav" or "flac", and how many samples a second it
// has. It must be 16-bit mono and have at most most bytes. What it sounds like is not
// looked at.
func Format(b []byte, most int) (format string, rate int, err error) {
	if err := fits(b, most); err != nil {
		return "", 0, err
	}
	if IsFLAC(b) {
		f, err := keptFLAC(b)
		if err != nil {
			return "", 0, err
		}
		defer f.Close()
		return "flac", f.Rate, nil
	}
	rate, _, err = keptWAV(b)
	return "wav", rate, err
}

// Samples returns the samples of such a file, and how many there are a second. Nothing
// is resampled. As WAV, too, it may have at most most bytes.
func Samples(b []byte, most int) (samples []int16, rate int, err error) {
	if err := fits(b, most); err != nil {
		return nil, 0, err
	}
	if !IsFLAC(b) {
		rate, data, err := keptWAV(b)
		if err != nil {
			return nil, 0, err
		}
		samples = make([]int16, 0, len(data)/2)
		for i := 0; i+1 < len(data); i += 2 {
			samples = append(samples, int16(le16(data[i:])))
		}
		return samples, rate, nil
	}
	f, err := keptFLAC(b)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	for {
		channels, err := f.Next()
		if errors.Is(err, io.EOF) {
			return samples, f.Rate, nil
		}
		if err != nil {
			return nil, 0, err
		}
		// A few bytes of FLAC can stand for hours of silence.
		if 2*(len(samples)+len(channels[0])) > most {
			return nil, 0, fmt.Errorf("FLAC of more than the %d bytes kept for one phrase", most)
		}
		for _, x := range channels[0] {
			samples = append(samples, int16(x))
		}
	}
}

// fits fails for a file of more than most bytes.
func fits(b []byte, most int) error {
	if len(b) > most {
		return fmt.Errorf("%d bytes are more than the %d kept for one phrase", len(b), most)
	}
	return nil
}

// IsFLAC reports whether b begins as FLAC does.
func IsFLAC(b []byte) bool { return bytes.HasPrefix(b, []byte("fLaC")) }

// keptFLAC opens a 16-bit mono FLAC file.
func keptFLAC(b []byte) (*FLAC, error) {
	f, err := OpenFLAC(bytes.NewReader(b))
	if err != nil {
		return nil, err
	}
	if f.Bits != 16 || f.Channels != 1 {
		f.Close()
		return nil, fmt.Errorf("FLAC with %d bits and %d channels; give 16 bits, mono", f.Bits, f.Channels)
	}
	return f, nil
}

// keptWAV returns the rate and the data of a whole 16-bit mono PCM WAV file.
func keptWAV(b []byte) (rate int, data []byte, err error) {
	if !bytes.HasPrefix(b, []byte("RIFF")) {
		return 0, nil, errors.New("neither a WAV nor a FLAC file")
	}
	r := bytes.NewReader(b)
	f, err := ReadWAV(r)
	switch {
	case err != nil:
		return 0, nil, err
	case f.Channels != 1 || f.Bits != 16 || f.Float:
		return 0, nil, errors.New("WAV of another kind; give 16-bit mono PCM")
	case f.Size > int64(r.Len()):
		return 0, nil, errors.New("damaged WAV: its sound is cut short")
	}
	return f.Rate, b[len(b)-r.Len():][:f.Size], nil
}

// Length returns how long the sound of such a file lasts, as its head says. head is the
// beginning of the file, of which a few hundred bytes do, and size the length of all of it.
func Length(head []byte, size int64) (time.Duration, error) {
	var rate int
	var frames int64
	if IsFLAC(head) {
		f, err := keptFLAC(head)
		if err != nil {
			return 0, err
		}
		rate, frames = f.Rate, f.Frames
		f.Close()
	} else {
		f, err := ReadWAV(bytes.NewReader(head))
		if err != nil {
			return 0, err
		}
		if f.Channels != 1 || f.Bits != 16 || f.Rate <= 0 {
			return 0, errors.New("WAV of another kind; give 16-bit mono PCM")
		}
		rate, frames = f.Rate, max(0, min(f.Size, size-WAVHead))/2
	}
	if seconds := float64(frames) / float64(rate); seconds <= longestKept.Seconds() {
		return time.Duration(seconds * float64(time.Second)), nil
	}
	return 0, errors.New("a sound longer than a phrase can be")
}

// longestKept is longer than any phrase or note.
const longestKept = 5 * time.Minute
