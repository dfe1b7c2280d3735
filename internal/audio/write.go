package audio

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"time"

	"waycall/internal/plainfile"
	"waycall/internal/sound"
)

// appendSample adds a sample as 16 bits.
func appendSample(b []byte, x float32) []byte {
	v := math.Round(float64(x) * (1 << 15))
	if math.IsNaN(v) {
		v = 0
	}
	return binary.LittleEndian.AppendUint16(b, uint16(int16(min(max(v, math.MinInt16), math.MaxInt16))))
}

// EncodeWAV returns c as a 16-bit mono WAV file. Samples beyond full scale are
// clipped, and those that are not numbers become silence.
func EncodeWAV(c Clip) []byte {
	size := uint32(2 * len(c))
	b := sound.AppendWAVHead(make([]byte, 0, sound.WAVHead+size), Rate, size)
	for _, x := range c {
		b = appendSample(b, x)
	}
	return b
}

// WriteWAV writes c to path as EncodeWAV gives it. The file appears whole or not
// at all: it is written beside its place and moved there once it is on the disk,
// so that a full disk or a power cut leaves what was there before.
func WriteWAV(path string, c Clip) error {
	err := plainfile.Write(path, 0o644, false, func(w io.Writer) error { _, err := w.Write(EncodeWAV(c)); return err })
	if err != nil {
		return notWritten(path, err)
	}
	return nil
}

func notWritten(path string, err error) error {
	return fmt.Errorf("cannot write sound to %s: %w; check that there is room and that the folder may be written to", path, err)
}

// A Recording is a WAV file that is written while the sound comes, so that long sound
// takes no memory. Like that of WriteWAV it appears whole, by Close, or not at all. It
// is for one goroutine.
type Recording struct {
	path    string
	file    *plainfile.File
	w       *bufio.Writer
	samples int64
	one     [2]byte
}

// longestRecording is what the head of a WAV file can say, with room to spare: 18 hours.
const longestRecording = 1 << 30

// Record begins a recording.
func Record(path string) (*Recording, error) {
	f, err := plainfile.Create(path, 0o644)
	if err != nil {
		return nil, notWritten(path, err)
	}
	r := &Recording{path: path, file: f, w: bufio.NewWriterSize(f, 1<<15)}
	if _, err := r.w.Write(sound.AppendWAVHead(nil, Rate, 0)); err != nil {
		f.Drop()
		return nil, notWritten(path, err)
	}
	return r, nil
}

// Write adds sound to the end. After an error nothing can be added.
func (r *Recording) Write(c Clip) error {
	if r.samples+int64(len(c)) > longestRecording {
		return fmt.Errorf("recording %s is full after %.0f hours; begin another", r.path, span(r.samples).Hours())
	}
	for _, x := range c {
		if _, err := r.w.Write(appendSample(r.one[:0], x)); err != nil {
			return notWritten(r.path, err)
		}
	}
	r.samples += int64(len(c))
	return nil
}

// Duration returns how long the recording is so far.
func (r *Recording) Duration() time.Duration { return span(r.samples) }

// Close puts the recording in its place.
func (r *Recording) Close() error {
	err := r.w.Flush()
	if err == nil {
		_, err = r.file.WriteAt(sound.AppendWAVHead(nil, Rate, uint32(2*r.samples)), 0)
	}
	if err == nil {
		err = r.file.Commit(false)
	}
	if err != nil {
		r.Drop()
		return notWritten(r.path, err)
	}
	return nil
}

// Drop leaves no recording, unless it was closed.
func (r *Recording) Drop() { r.file.Drop() }
