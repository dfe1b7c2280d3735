package store

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"waycall/internal/record"
	"waycall/internal/store/internal/jobfile"
)

// known reports whether an error of opening or reading a job is one that a person is
// told what to do about.
func known(err error) bool {
	for _, e := range []error{ErrForeign, ErrNewer, ErrDamaged, ErrReadOnly} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// FuzzJobFile opens whatever is named as a job: it is refused for a reason and stays
// as it is, or its record can be read to the end and written on.
func FuzzJobFile(f *testing.F) {
	s, path := create(f)
	mustAppend(f, s, phrase(0), wav(1, 10))
	s.Close()
	good, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	// The file itself is large for a seed; what is tried is where it is changed, and to what.
	f.Add(uint32(18), []byte{2, 2}, uint32(len(good)))
	f.Add(uint32(60), []byte{0, 0, 0, 99}, uint32(len(good)))
	f.Add(uint32(100), []byte{0, 0, 0, 0, 0, 0, 0, 0}, uint32(len(good)))
	f.Add(uint32(len(good)-9), []byte("\xff\xff\xff"), uint32(len(good)))
	f.Add(uint32(0), []byte{}, uint32(512))
	f.Fuzz(func(t *testing.T, at uint32, with []byte, size uint32) {
		b := append([]byte{}, good...)
		copy(b[int(at)%len(b):], with)
		b = b[:min(int(size), len(b))]
		path := filepath.Join(t.TempDir(), "D-104.waycall")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, open := range []func(string) (*Store, error){OpenReadOnly, Open} {
			s, err := open(path)
			if err != nil {
				if !known(err) || strings.ContainsAny(err.Error(), "\x00\x1b\n") {
					t.Fatalf("%q at %d, %d bytes: %v", with, at, size, err)
				}
				if after, err := os.ReadFile(path); err != nil || string(after) != string(b) {
					t.Fatalf("%q at %d, %d bytes: refused, and changed (%v)", with, at, size, err)
				}
				continue
			}
			events, err := s.Events(ctx)
			if err != nil && !known(err) {
				t.Errorf("%q at %d, %d bytes: %v", with, at, size, err)
			}
			for _, e := range events {
				if e.Kind != record.Heard {
					continue
				}
				if _, err := s.Sound(ctx, e.ID); err != nil && !known(err) {
					t.Errorf("%q at %d, %d bytes: %v", with, at, size, err)
				}
			}
			if err == nil && !s.readOnly && len(events) == 3 {
				if _, err := s.Append(ctx, phrase(1), wav(2, 10)); err != nil && !known(err) {
					t.Errorf("%q at %d, %d bytes: %v", with, at, size, err)
				}
			}
			s.Close()
		}
		found, err := Verify(ctx, path)
		if err != nil && !known(err) {
			t.Errorf("%q at %d, %d bytes: %v", with, at, size, err)
		}
		for _, p := range found.Problems {
			if strings.ContainsAny(p.What, "\x00\x1b\n") {
				t.Errorf("%q at %d, %d bytes: more than a line of it: %q", with, at, size, p.What)
			}
		}
	})
}

// FuzzEvent reads whatever stands in the columns of an event: it is refused, or comes
// back the same when it is written, and what may be written may be folded.
func FuzzEvent(f *testing.F) {
	for _, e := range oneOfEach(f) {
		at, data, err := jobfile.Encode(&e)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(e.ID, at, string(e.Kind), data)
	}
	f.Add(int64(-1), "2026-03-14T12:00:00.000000000Z", "said", "{}{}")
	f.Add(int64(1)<<62, "0000-01-01T00:00:00.000000000Z", "heard", `{"phrase":null}`)
	f.Fuzz(func(t *testing.T, id int64, at, kind, data string) {
		e, err := jobfile.Decode(id, at, kind, data)
		if err != nil {
			return
		}
		at2, data2, err := jobfile.Encode(&e)
		if err != nil {
			t.Fatalf("%q %q: was read and cannot be written: %v", kind, data, err)
		}
		first := e
		again, err := jobfile.Decode(id, at2, kind, data2)
		if err != nil {
			t.Fatalf("%q %q as %q: %v", kind, data, data2, err)
		}
		if _, data3, err := jobfile.Encode(&again); err != nil || data3 != data2 {
			t.Errorf("%q: %q came back as %q (%v)", kind, data2, data3, err)
		}
		if first.Check() != nil {
			return
		}
		// Whatever is out of place in the state is an error, never a crash.
		_, _ = record.Fold([]record.Event{first})
	})
}
