package store

import (
	"testing"

	"waycall/internal/record"
)

// The sum of each event is what Verify gave as that of the last, when it was the
// last, and is the same whoever reads it.
func TestSum(t *testing.T) {
	s, path := create(t)
	_, err := s.Sum(t.Context(), 1)
	refused(t, err, ErrInvalid, "there is no event 1")
	var heads []string
	all := oneOfEach(t)
	for i, e := range []record.Event{all[0], all[2], all[2]} {
		mustAppend(t, s, number(int64(i+1), []record.Event{e}), nil)
		r, err := Verify(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		heads = append(heads, r.Head)
	}
	s.Close()
	s, err = OpenReadOnly(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for i, want := range heads {
		got, err := s.Sum(t.Context(), int64(i+1))
		if err != nil || got != want || len(got) != 64 {
			t.Errorf("event %d: %q, %v, want %q", i+1, got, err, want)
		}
	}
	_, err = s.Sum(t.Context(), 99)
	refused(t, err, ErrInvalid, "there is no event 99")
}
