package bundle

import (
	"slices"

	"waycall/internal/sound"
	"waycall/internal/store"
)

// toFLAC returns a sound of the record as FLAC; one that is FLAC already as it is.
func toFLAC(kept []byte) ([]byte, error) {
	samples, rate, err := store.Samples(kept)
	if err != nil || sound.IsFLAC(kept) {
		return kept, err
	}
	return sound.EncodeFLAC(samples, rate)
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
