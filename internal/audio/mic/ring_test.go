package mic

import (
	"runtime"
	"testing"

	"pgregory.net/rapid"
)

// The model is a plain queue of bounded length.
func TestRingIsAQueue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRing(rapid.IntRange(1, 40).Draw(t, "size"))
		var queue []float32
		next, gaps := float32(0), int64(0)
		t.Repeat(map[string]func(*rapid.T){
			"write": func(t *rapid.T) {
				s := make([]float32, rapid.IntRange(0, 80).Draw(t, "n"))
				for i := range s {
					s[i] = next
					next++
				}
				r.write(s)
				if room := len(r.buf) - len(queue); len(s) > room {
					s = s[:room]
					gaps++
				}
				queue = append(queue, s...)
			},
			"take": func(t *rapid.T) {
				s := make([]float32, rapid.IntRange(0, 80).Draw(t, "n"))
				n := r.take(s)
				if n != min(len(s), len(queue)) {
					t.Fatalf("took %d of %d with room for %d", n, len(queue), len(s))
				}
				for i := range n {
					if s[i] != queue[i] {
						t.Fatalf("sample %d is %v, want %v", i, s[i], queue[i])
					}
				}
				queue = queue[n:]
			},
			"discard": func(*rapid.T) { r.discard(); queue = nil },
			"":        func(*rapid.T) {},
		})
		if r.gaps.Load() != gaps {
			t.Fatalf("%d gaps counted, want %d", r.gaps.Load(), gaps)
		}
	})
}

func TestRingBetweenThreads(t *testing.T) {
	r := newRing(256)
	const total = 200000
	go func() {
		var s [64]float32
		for sent := 0; sent < total; {
			if len(r.buf)-int(r.written.Load()-r.read.Load()) < len(s) {
				runtime.Gosched()
				continue
			}
			for i := range s {
				s[i] = float32(sent)
				sent++
			}
			r.write(s[:])
		}
	}()
	var s [50]float32
	for got := 0; got < total; {
		n := r.take(s[:])
		for _, x := range s[:n] {
			if x != float32(got) {
				t.Fatalf("sample %d is %v", got, x)
			}
			got++
		}
		if n == 0 {
			runtime.Gosched()
		}
	}
	if allocs := testing.AllocsPerRun(100, func() { r.write(s[:]); r.take(s[:]) }); allocs != 0 {
		t.Errorf("a write and a take allocate %v times", allocs)
	}
}
