package audiotest

import (
	"context"
	"errors"
	"io"
	"testing"

	"waycall/internal/audio"
)

func TestSource(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	src := Source(make(audio.Clip, 800), nil, audio.Clip{1, 2, 3})
	var n int
	for {
		f, err := src.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil || len(f) == 0 || len(f) > audio.FrameSize {
			t.Fatalf("frame of %d, %v", len(f), err)
		}
		n += len(f)
	}
	if n != 803 {
		t.Errorf("%d samples, want 803", n)
	}
	src = Source(make(audio.Clip, audio.Rate))
	cancel()
	if _, err := src.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after cancel: %v", err)
	}
}
