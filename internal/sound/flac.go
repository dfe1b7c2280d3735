// This file reads and writes FLAC.

package sound

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
)

// FLAC is a stream of FLAC that is being read.
type FLAC struct {
	Channels int
	Rate     int   // samples a second, above 0
	Bits     int   // a sample
	Frames   int64 // sample frames, as the file says; 0 where it does not
	stream   *flac.Stream
}

// errFLAC is a stream that cannot be followed. What was read of it is good.
var errFLAC = errors.New("its FLAC data is damaged and cannot be followed; record it again")

// OpenFLAC reads the header of a FLAC stream. Close ends the reading.
func OpenFLAC(r io.Reader) (f *FLAC, err error) {
	// The decoder is fed whatever is in the file; should it trip over itself, that is a
	// damaged file, not the end of the session.
	defer func() {
		if recover() != nil {
			f, err = nil, errFLAC
		}
	}()
	s, err := flac.New(r)
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return nil, errors.New("it ends inside its FLAC header; record it again")
	case err != nil:
		return nil, fmt.Errorf("its FLAC header is damaged (%v); record it again", err) //nolint:errorlint // an end within it is none of the file
	case s.Info.SampleRate == 0 || s.Info.NChannels == 0 || s.Info.BitsPerSample == 0:
		s.Close()
		return nil, errors.New("its FLAC header is damaged; record it again")
	}
	return &FLAC{int(s.Info.NChannels), int(s.Info.SampleRate), int(s.Info.BitsPerSample), int64(s.Info.NSamples), s}, nil
}

// Next returns the next block: the samples of each channel, all of one length. At the
// end it returns io.EOF, and another error where the stream cannot be followed.
func (f *FLAC) Next() (channels [][]int32, err error) {
	defer func() {
		if recover() != nil {
			channels, err = nil, errFLAC
		}
	}()
	b, err := f.stream.ParseNext()
	switch {
	case err == io.EOF: //nolint:errorlint // wrapped, it is within a frame
		return nil, io.EOF
	case err != nil || len(b.Subframes) != f.Channels:
		return nil, errFLAC
	}
	n := len(b.Subframes[0].Samples)
	for _, sub := range b.Subframes {
		n = min(n, len(sub.Samples))
	}
	for _, sub := range b.Subframes {
		channels = append(channels, sub.Samples[:n])
	}
	return channels, nil
}

// Close ends the reading.
func (f *FLAC) Close() error { return f.stream.Close() }

// blockSize is how many samples are packed together, as most encoders do it.
const blockSize = 4096

// EncodeFLAC returns samples as a 16-bit mono FLAC file of rate samples a second.
func EncodeFLAC(samples []int16, rate int) ([]byte, error) {
	sum := md5.New() // which FLAC wants, to find damage
	if err := binary.Write(sum, binary.LittleEndian, samples); err != nil {
		return nil, err
	}
	info := &meta.StreamInfo{
		BlockSizeMin: blockSize, BlockSizeMax: blockSize, SampleRate: uint32(rate),
		NChannels: 1, BitsPerSample: 16, NSamples: uint64(len(samples)),
	}
	copy(info.MD5sum[:], sum.Sum(nil))
	var b bytes.Buffer
	enc, err := flac.NewEncoder(&b, info)
	if err != nil {
		return nil, err
	}
	for part := range slices.Chunk(samples, blockSize) {
		wide := make([]int32, len(part))
		for i, x := range part {
			wide[i] = int32(x)
		}
		err := enc.WriteFrame(&frame.Frame{
			Header: frame.Header{
				HasFixedBlockSize: true, BlockSize: uint16(len(part)), SampleRate: uint32(rate),
				Channels: frame.ChannelsMono, BitsPerSample: 16,
			},
			Subframes: []*frame.Subframe{{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: wide, NSamples: len(wide)}},
		})
		if err != nil {
			return nil, err
		}
	}
	return b.Bytes(), enc.Close()
}
