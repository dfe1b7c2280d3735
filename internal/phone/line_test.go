package phone

import (
	"context"
	"encoding/binary"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"waycall/internal/audio"
)

const (
	one = "page-number-one"
	two = "page-number-two"
)

// clock is a time that a test moves.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func newLine(t interface {
	Helper()
	Fatal(...any)
}) (*Line, *clock) {
	t.Helper()
	l, c := NewLine(), &clock{time.Unix(1e9, 0)}
	l.now = c.now
	if _, err := l.Join(one, false); err != nil {
		t.Fatal(err)
	}
	return l, c
}

// block is a block whose samples are all its number, at the rate of a session, so that
// they come out as they went in.
func block(n int) Block {
	b := Block{Page: one, N: n, Rate: audio.Rate}
	for range audio.Rate / 10 {
		b.PCM = binary.LittleEndian.AppendUint16(b.PCM, uint16(n))
	}
	return b
}

// numbers are the blocks that a clip is made of.
func numbers(c audio.Clip) (all []int) {
	for i := 0; i < len(c); i += audio.Rate / 10 {
		all = append(all, int(c[i]*32768))
	}
	return all
}

// read returns all that is ready, and how many breaks came before it or in it.
func read(t interface{ Fatal(...any) }, l *Line) (all audio.Clip, breaks []audio.Break) {
	ctx, end := context.WithCancel(context.Background())
	end()
	for {
		frame, err := l.Next(ctx)
		broke := new(audio.Break)
		switch {
		case errors.As(err, &broke):
			breaks = append(breaks, *broke)
		case errors.Is(err, context.Canceled):
			return all, breaks
		case err != nil:
			t.Fatal(err)
		}
		all = append(all, frame...)
	}
}

func take(t interface{ Fatal(...any) }, l *Line, b Block) (next int, missing []int) {
	next, missing, err := l.Take(b)
	if err != nil {
		t.Fatal(err)
	}
	return next, missing
}

// Whatever the order, however often each block comes: once all came, all are heard once,
// in their order, and nothing is missing.
func TestAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, _ := newLine(t)
		total := rapid.IntRange(1, 60).Draw(t, "blocks")
		var sent []int
		for n := range total {
			for range rapid.IntRange(1, 3).Draw(t, "times") {
				sent = append(sent, n)
			}
		}
		var heard audio.Clip
		for _, n := range rapid.Permutation(sent).Draw(t, "order") {
			next, missing := take(t, l, block(n))
			if slices.Contains(missing, n) || next > total {
				t.Fatalf("after %d: next %d, missing %v", n, next, missing)
			}
			clip, breaks := read(t, l)
			if heard = append(heard, clip...); len(breaks) > 0 {
				t.Fatalf("broken: %v", breaks)
			}
		}
		got := numbers(heard)
		want := make([]int, total)
		for i := range want {
			want[i] = i
		}
		if !slices.Equal(got, want) {
			t.Fatalf("heard %v of %d", got, total)
		}
	})
}

// A block that does not come is asked for, and after two seconds given up: that is a break,
// and what came after it is heard.
func TestLost(t *testing.T) {
	l, c := newLine(t)
	take(t, l, block(0))
	if next, missing := take(t, l, block(3)); next != 1 || !slices.Equal(missing, []int{1, 2}) {
		t.Errorf("next %d, missing %v", next, missing)
	}
	if _, missing := take(t, l, block(2)); !slices.Equal(missing, []int{1}) {
		t.Errorf("missing %v", missing)
	}
	clip, breaks := read(t, l)
	if got := numbers(clip); !slices.Equal(got, []int{0}) || len(breaks) > 0 {
		t.Errorf("heard %v, %v", got, breaks)
	}
	c.at = c.at.Add(lateFor + time.Millisecond)
	if next, missing := take(t, l, block(4)); next != 5 || missing != nil {
		t.Errorf("next %d, missing %v", next, missing)
	}
	clip, breaks = read(t, l)
	if got := numbers(clip); !slices.Equal(got, []int{2, 3, 4}) || len(breaks) != 1 || breaks[0].Away != 0 {
		t.Errorf("heard %v, %v", got, breaks)
	}
	// A page that was asleep is far ahead.
	if next, _ := take(t, l, block(4+ahead+5)); next != 4+ahead+6 {
		t.Errorf("next %d", next)
	}
	if _, breaks = read(t, l); len(breaks) != 1 {
		t.Errorf("%v", breaks)
	}
}

// Another page is not heard while one is at work, takes over when it is told to or the
// first is gone, and then the first is not heard any more.
func TestTwoPhones(t *testing.T) {
	l, c := newLine(t)
	take(t, l, block(0))
	if _, err := l.Join(two, false); !errors.Is(err, ErrTaken) {
		t.Errorf("joined beside: %v", err)
	}
	other := block(0)
	other.Page = two
	if _, _, err := l.Take(other); !errors.Is(err, ErrTaken) {
		t.Errorf("heard beside: %v", err)
	}
	if _, err := l.Join(two, true); err != nil {
		t.Fatal(err)
	}
	if _, _, err := l.Take(block(1)); !errors.Is(err, ErrTaken) {
		t.Errorf("the first is heard: %v", err)
	}
	take(t, l, other)
	if _, breaks := read(t, l); len(breaks) != 1 {
		t.Errorf("the phones are not kept apart: %v", breaks)
	}
	c.at = c.at.Add(gone)
	if _, err := l.Join(one, false); err != nil {
		t.Errorf("the other is gone: %v", err)
	}
	if n, err := 3, l.Still("a page of yesterday"); !errors.Is(err, ErrTaken) {
		t.Errorf("%d: %v", n, err)
	}
}

// What is no sound of this session is refused, and nothing of it is heard.
func TestRefused(t *testing.T) {
	l, _ := newLine(t)
	for name, change := range map[string]func(b *Block){
		"no page": func(b *Block) { b.Page = "" }, "another page": func(b *Block) { b.Page = two },
		"negative": func(b *Block) { b.N = -1 }, "rate 0": func(b *Block) { b.Rate = 0 }, "rate 10 MHz": func(b *Block) { b.Rate = 1e7 },
		"empty": func(b *Block) { b.PCM = nil }, "half a sample": func(b *Block) { b.PCM = b.PCM[1:] },
		"too long": func(b *Block) { b.PCM = make([]byte, 2*audio.Rate+2) }, "quiet and sound": func(b *Block) { b.Quiet = 3 },
		"quiet for ever": func(b *Block) { b.PCM, b.Quiet = nil, 1e6 }, "played before it was said": func(b *Block) { b.After = -1 },
	} {
		b := block(0)
		change(&b)
		if _, _, err := l.Take(b); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	for _, page := range []string{"", "short", strings.Repeat("x", 65)} {
		if _, err := l.Join(page, true); !errors.Is(err, ErrBlock) {
			t.Errorf("page %q: %v", page, err)
		}
	}
	if err := l.Played(one, 1); !errors.Is(err, ErrBlock) {
		t.Errorf("played what was never said: %v", err)
	}
	if clip, breaks := read(t, l); len(clip) > 0 || len(breaks) > 0 {
		t.Errorf("heard %d, %v", len(clip), breaks)
	}
}

// What is quiet is not sent, and lasts as long as it did.
func TestQuiet(t *testing.T) {
	l, _ := newLine(t)
	take(t, l, block(0))
	take(t, l, Block{Page: one, N: 1, Rate: audio.Rate, Quiet: 10})
	take(t, l, Block{Page: one, N: 1, Rate: audio.Rate, Quiet: 10})
	take(t, l, block(2))
	if clip, _ := read(t, l); len(clip) != 12*audio.Rate/10 {
		t.Errorf("%d samples", len(clip))
	}
}

// What waycall says ends when the phone has played it, and what the phone caught meanwhile
// is not heard.
func TestPlay(t *testing.T) {
	l, _ := newLine(t)
	done := make(chan error)
	go func() { done <- l.Play(t.Context(), make(audio.Clip, 100)) }()
	for l.speaks(one).wav == nil {
		time.Sleep(time.Millisecond)
	}
	take(t, l, block(0))
	if err := l.Played(one, 1); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	take(t, l, block(1)) // on its way meanwhile
	after := block(2)
	after.After = 1
	take(t, l, after)
	if clip, breaks := read(t, l); !slices.Equal(numbers(clip), []int{2}) || len(breaks) > 0 {
		t.Errorf("heard %v, %v", numbers(clip), breaks)
	}
	// A page that is loaded anew has played nothing, and is heard.
	played, err := l.Join(two, true)
	if err != nil || played != 1 {
		t.Errorf("played %d, %v", played, err)
	}
	fresh := block(0)
	fresh.Page, fresh.After = two, played
	take(t, l, fresh)
	if clip, _ := read(t, l); len(clip) == 0 {
		t.Error("the page that was loaded anew is not heard")
	}
	if _, err := l.Join(one, true); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	go func() { done <- l.Play(ctx, make(audio.Clip, 100)) }()
	for l.speaks(one).wav == nil {
		time.Sleep(time.Millisecond)
	}
	stop()
	if err := <-done; !errors.Is(err, context.Canceled) || l.speaks(one).wav != nil {
		t.Errorf("stopped: %v", err)
	}
	if err := l.Played(one, 2); err != nil {
		t.Errorf("played late: %v", err)
	}
}

// A phone that is gone is told of once, and when it is back it is said for how long.
func TestGone(t *testing.T) {
	l, c := newLine(t)
	var told []audio.News
	l.Tell(func(n audio.News) { told = append(told, n) })
	take(t, l, block(0))
	read(t, l)
	c.at = c.at.Add(gone + time.Second)
	ctx, stop := context.WithTimeout(t.Context(), 10*gone)
	defer stop()
	for range 2 {
		l.mu.Lock()
		changed := l.changed
		l.mu.Unlock()
		if err := l.await(ctx, changed); err != nil {
			t.Fatal(err)
		}
	}
	if len(told) != 1 || !told[0].Gone {
		t.Errorf("told %v", told)
	}
	c.at = c.at.Add(time.Minute)
	if err := l.Still(one); err != nil {
		t.Fatal(err)
	}
	if _, breaks := read(t, l); len(breaks) != 1 || breaks[0].Away != gone+time.Second+time.Minute {
		t.Errorf("%v", breaks)
	}
	if len(told) != 2 || told[1].Gone {
		t.Errorf("told %v", told)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := l.Next(t.Context()); err == nil {
		t.Error("it hears when it is closed")
	}
	if err := l.Play(t.Context(), make(audio.Clip, 10)); err == nil {
		t.Error("it speaks when it is closed")
	}
}

// A day of eight hours with twenty times out of reach: nothing grows, each time is told
// once, and what was sent is heard once.
func TestDay(t *testing.T) {
	l, c := newLine(t)
	n, sent, heard, away := 0, 0, 0, 0
	grown := 0
	for second := range 8 * 60 * 60 {
		c.at = c.at.Add(time.Second)
		if second%1440 == 1439 { // out of reach for a minute, and back
			c.at = c.at.Add(time.Minute)
			l.mu.Lock()
			l.away = l.seen // as await finds it
			l.mu.Unlock()
		}
		if second%10 == 0 {
			for range 10 {
				take(t, l, block(n))
				n++
			}
			sent += audio.Rate
		} else {
			take(t, l, Block{Page: one, N: n, Rate: audio.Rate, Quiet: 10})
			n++
			sent += audio.Rate
		}
		if l.broke != nil { // as Next gives them
			if l.broke.Away < time.Minute {
				t.Errorf("a break of %v", l.broke.Away)
			}
			l.broke = nil
			away++
		}
		grown = max(grown, len(l.ready), len(l.early))
		heard += len(l.ready)
		l.ready = l.ready[:0]
	}
	if heard != sent || away != 20 || grown > 4*audio.Rate {
		t.Errorf("heard %d of %d samples, %d breaks, at most %d kept", heard, sent, away, grown)
	}
}
