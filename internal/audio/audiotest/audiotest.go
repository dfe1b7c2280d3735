// Package audiotest gives sound to the tests of those who listen.
package audiotest

import (
	"context"
	"io"

	"waycall/internal/audio"
)

// Source returns a source that gives the clips one after the other, in frames of
// audio.FrameSize, as fast as they are read.
func Source(clips ...audio.Clip) audio.Source { return &source{clips} }

type source struct{ clips []audio.Clip }

// Next returns the next frame, or io.EOF.
func (s *source) Next(ctx context.Context) (audio.Clip, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for len(s.clips) > 0 && len(s.clips[0]) == 0 {
		s.clips = s.clips[1:]
	}
	if len(s.clips) == 0 {
		return nil, io.EOF
	}
	n := min(audio.FrameSize, len(s.clips[0]))
	frame := s.clips[0][:n:n]
	s.clips[0] = s.clips[0][n:]
	return frame, nil
}

func (s *source) Discard() {}

func (s *source) Close() error {
	s.clips = nil
	return nil
}
