package bundle

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"slices"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"waycall/internal/store"
)

// blockSize is how many samples are packed together, as most encoders do it.
const blockSize = 4096

// toFLAC returns a sound of the record as FLAC; one that is FLAC already as it is.
func toFLAC(sound []byte) ([]byte, error) {
	samples, rate, err := store.Samples(sound)
	if err != nil || bytes.HasPrefix(sound, []byte("fLaC")) {
		return sound, err
	}
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

// sameSound reports whether two sounds have the same samples.
func sameSound(a, b []byte) (bool, error) {
	one, rate, err := store.Samples(a)
	if err != nil {
		return false, err
	}
	two, other, err := store.Samples(b)
	return rate == other && slices.Equal(one, two), err
}
