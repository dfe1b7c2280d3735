package practice

import (
	"context"
	"io"

	"waycall/internal/audio"
)

// Files is a microphone into which files are spoken, one after the other, each with a pause
// after it that ends a phrase. It is a voice and a loudspeaker, too, that nobody hears.
type Files struct {
	names []string
	sound audio.Clip // what is left of the file, and of the pause
}

// pause is what follows a file, long enough to end a phrase, in samples.
const pause = 17 * audio.Rate / 10

// NewFiles returns a microphone of sound files, each of which can be read. Errors: as of
// audio.ReadFile.
func NewFiles(names []string) (*Files, error) {
	for _, name := range names {
		if _, err := audio.ReadFile(name); err != nil {
			return nil, err
		}
	}
	return &Files{names: names}, nil
}

// Next gives the next of what is spoken.
func (f *Files) Next(ctx context.Context) (audio.Clip, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(f.sound) == 0 {
		if len(f.names) == 0 {
			return nil, io.EOF
		}
		spoken, err := audio.ReadFile(f.names[0])
		if err != nil {
			return nil, err
		}
		f.names = f.names[1:]
		f.sound = append(spoken[:len(spoken):len(spoken)], make(audio.Clip, pause)...)
	}
	n := min(audio.FrameSize, len(f.sound))
	frame := f.sound[:n:n]
	f.sound = f.sound[n:]
	return frame, nil
}

// Discard leaves out what is left of a pause.
func (f *Files) Discard() {
	if len(f.sound) <= pause {
		f.sound = nil
	}
}

// Close does nothing: no file is open between two calls of Next.
func (f *Files) Close() error { return nil }

// Speak says nothing, which takes no time either.
func (f *Files) Speak(string, int) (audio.Clip, error) { return nil, nil }

// Play plays nothing, and takes no time for it.
func (f *Files) Play(ctx context.Context, _ audio.Clip) error { return ctx.Err() }
