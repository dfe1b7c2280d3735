package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/mewkiz/flac"

	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// checkBatch looks at what Append was given before the log is touched, and
// returns the format and rate of the sound.
func checkBatch(batch []record.Event, sound []byte) (format string, rate int, err error) {
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
	if heard != (len(sound) > 0) {
		return "", 0, jobfile.Fault(ErrInvalid, "a heard phrase and its sound are stored together or not at all", "")
	}
	if !heard {
		return "", 0, nil
	}
	if format, rate, err = soundFormat(sound); err != nil {
		return "", 0, jobfile.Fault(ErrInvalid, "the sound: "+err.Error(), "")
	}
	return format, rate, nil
}

// soundFormat says what kind of file b is and how many samples a second it has.
func soundFormat(b []byte) (format string, rate int, err error) {
	if len(b) > jobfile.MostSound {
		return "", 0, fmt.Errorf("%d bytes are more than the %d kept for one phrase", len(b), jobfile.MostSound)
	}
	if isFLAC(b) {
		s, err := openFLAC(b)
		if err != nil {
			return "", 0, err
		}
		defer s.Close()
		return "flac", int(s.Info.SampleRate), nil
	}
	rate, _, err = readWAV(b)
	return "wav", rate, err
}

// Samples returns the samples of a sound as it is kept, a 16-bit mono WAV or FLAC
// file, and how many there are a second. Nothing is resampled. The error says what
// is wrong with it.
func Samples(sound []byte) (samples []int16, rate int, err error) {
	if _, _, err := soundFormat(sound); err != nil {
		return nil, 0, err
	}
	if !isFLAC(sound) {
		rate, data, err := readWAV(sound)
		samples = make([]int16, 0, len(data)/2)
		for i := 0; i+1 < len(data); i += 2 {
			samples = append(samples, int16(binary.LittleEndian.Uint16(data[i:])))
		}
		return samples, rate, err
	}
	s, err := openFLAC(sound)
	if err != nil {
		return nil, 0, err
	}
	defer s.Close()
	for {
		f, err := s.ParseNext()
		if err == io.EOF { //nolint:errorlint // wrapped, it is within a frame
			return samples, int(s.Info.SampleRate), nil
		}
		if err != nil {
			return nil, 0, fmt.Errorf("damaged FLAC: %v", err) //nolint:errorlint // an end within it is none of the log
		}
		// A few bytes of FLAC can stand for hours of silence.
		if 2*(len(samples)+int(f.BlockSize)) > jobfile.MostSound {
			return nil, 0, fmt.Errorf("FLAC of more than the %d bytes kept for one phrase", jobfile.MostSound)
		}
		if len(f.Subframes) != 1 {
			return nil, 0, errors.New("damaged FLAC: a block is not mono")
		}
		for _, x := range f.Subframes[0].Samples {
			samples = append(samples, int16(x))
		}
	}
}

func isFLAC(b []byte) bool { return bytes.HasPrefix(b, []byte("fLaC")) }

// openFLAC opens a 16-bit mono FLAC file.
func openFLAC(b []byte) (*flac.Stream, error) {
	s, err := flac.New(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("damaged FLAC: %v", err) //nolint:errorlint // an end within it is none of the log
	}
	if s.Info.BitsPerSample != 16 || s.Info.NChannels != 1 || s.Info.SampleRate == 0 {
		s.Close()
		return nil, fmt.Errorf("FLAC with %d bits and %d channels; give 16 bits, mono", s.Info.BitsPerSample, s.Info.NChannels)
	}
	return s, nil
}

// readWAV returns the rate and the data of a whole 16-bit mono PCM WAV file: RIFF, then
// chunks of a four-letter name, a size and that many bytes, padded to even.
func readWAV(b []byte) (rate int, data []byte, err error) {
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WAVE" {
		return 0, nil, errors.New("neither a WAV nor a FLAC file")
	}
	le := binary.LittleEndian
	for rest := b[12:]; len(rest) >= 8; {
		name, size := string(rest[:4]), int64(le.Uint32(rest[4:8]))
		rest = rest[8:]
		if size > int64(len(rest)) {
			return 0, nil, fmt.Errorf("damaged WAV: its %q chunk is cut short", name)
		}
		chunk := rest[:size]
		rest = rest[min(size+size%2, int64(len(rest))):]
		switch name {
		case "fmt ":
			if size < 16 || le.Uint16(chunk) != 1 || le.Uint16(chunk[2:]) != 1 || le.Uint16(chunk[14:]) != 16 {
				return 0, nil, errors.New("WAV of another kind; give 16-bit mono PCM")
			}
			rate = int(le.Uint32(chunk[4:]))
		case "data":
			if rate <= 0 {
				return 0, nil, errors.New("damaged WAV: no rate before its sound")
			}
			return rate, chunk, nil
		}
	}
	return 0, nil, errors.New("damaged WAV: it holds no sound")
}
