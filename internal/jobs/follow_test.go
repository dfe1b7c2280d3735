package jobs

import (
	"context"
	"testing"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/mishap"
	"waycall/internal/record"
)

// A log is the same where nothing was added, and none that was given is changed.
func TestFollow(t *testing.T) {
	s, err := Folder(t.TempDir()).Create(t.Context(), boardtest.Read(t, "terrace.yaml"), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	f := Follow(s.Path())
	read := func() *Log {
		t.Helper()
		log, err := f.Read(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return log
	}
	first := read()
	if first.State.LastID != 1 || len(first.Events) != 1 || first.Head == "" || read() != first {
		t.Fatalf("%d events", first.State.LastID)
	}
	said := record.Event{ID: 2, At: time.Now(), Kind: record.Said, Text: "Way one?"}
	if _, err := s.Append(t.Context(), []record.Event{said}, nil); err != nil {
		t.Fatal(err)
	}
	second := read()
	if second.State.LastID != 2 || len(second.Events) != 2 || second.Head == first.Head {
		t.Errorf("%d events", second.State.LastID)
	}
	if first.State.LastID != 1 || len(first.Events) != 1 {
		t.Error("the first log was changed")
	}
	// What a reading that panics has taken from the file is not lost.
	said.ID = 3
	if _, err := s.Append(t.Context(), []record.Event{said}, nil); err != nil {
		t.Fatal(err)
	}
	f.tail = faulty{f.tail}
	if mishap.Do("read", func() { _, _ = f.Read(t.Context()) }) == nil {
		t.Fatal("it did not panic")
	}
	if third := read(); third.State.LastID != 3 || len(third.Events) != 3 {
		t.Errorf("%d events after a fault", third.State.LastID)
	}
}

// faulty reads what there is, and panics.
type faulty struct{ tail }

func (f faulty) Next(ctx context.Context) ([]record.Event, error) {
	_, _ = f.tail.Next(ctx)
	panic("a fault")
}
