// Package phone makes a phone the microphone, the loudspeaker and the screen of a
// session: the laptop stays on the floor, and the page of this package runs in the
// phone's browser.
//
//	phone's microphone -> numbered blocks of 100 ms, by fetch -> Line.Take -> session
//	session -> Line.Play -> stream of events -> phone's loudspeaker -> Line.Played
//
// A Line is what lies between: an audio.Source and a say.Player of the session at one end,
// and what the pages of Server call at the other. What is lost on the way is asked for
// again, what comes twice is taken once, and what cannot be had is a Break, after which
// half a phrase is none. While the phone speaks it does not listen.
package phone

import (
	"context"
	"encoding/binary"
	"errors"
	"sync"
	"time"

	"waycall/internal/advice"
	"waycall/internal/audio"
	"waycall/internal/screen"
)

// The bounds of a Line.
const (
	ahead   = 100              // blocks that may be early, 10 s
	lateFor = 2 * time.Second  // for which a missing block is waited for
	longest = 30 * audio.Rate  // samples that wait to be read
	gone    = 4 * time.Second  // without a word from the phone
	wait    = 30 * time.Minute // for a phone that is gone, as for a headset
)

// Block is a tenth of a second or so of what a phone hears.
type Block struct {
	Page  string // the page that sends it, by the name that it gave itself in Join
	N     int    // its number, from 0
	Rate  int    // samples a second, audio.MinRate to audio.MaxRate
	After int    // the last of what waycall said that the page had played when it was caught
	PCM   []byte // 16-bit little-endian mono, at most a second
	Quiet int    // in place of PCM: so many tenths of a second were quiet, at most 100
}

// sound reports whether a block may be one.
func (b Block) sound() bool {
	if b.N < 0 || b.After < 0 || b.Rate < audio.MinRate || b.Rate > audio.MaxRate {
		return false
	}
	if b.Quiet != 0 {
		return len(b.PCM) == 0 && b.Quiet > 0 && b.Quiet <= 100
	}
	return len(b.PCM) > 0 && len(b.PCM)%2 == 0 && len(b.PCM) <= 2*b.Rate
}

// The reasons for which a block is not taken.
var (
	ErrTaken = errors.New("another phone is at work on this session")
	ErrBlock = errors.New("that is no sound of this session")
)

// Line is the way between a session and a phone. Its methods may be called from several
// goroutines; Next and Discard belong to the session, as Play does.
type Line struct {
	now func() time.Time // time.Now, but in tests

	mu      sync.Mutex
	news    func(audio.News) // see Tell
	changed chan struct{}    // closed, and made anew, when anything changes
	closed  bool

	page  string    // whose blocks are taken; "" before there is one
	seen  time.Time // when it was last heard of
	away  time.Time // since when it is gone; the zero time while it is not
	lost  int
	next  int           // the number of the block that comes next
	early map[int]Block // blocks that came before it
	gap   time.Time     // since when next is missing
	rate  int
	to    *audio.Resampler
	ready audio.Clip   // not yet read
	hum   audio.Clip   // the last tenth of a second that was heard: what quiet sounds like there
	broke *audio.Break // to be told before it

	said   int    // how much was said so far: the number of what is or was spoken last
	played int    // the last that was played to its end
	saying []byte // a WAV file; nil while nothing is spoken
	heard  int64  // samples taken, for the record of the session's end
}

// NewLine returns a Line with no phone yet.
func NewLine() *Line {
	return &Line{now: time.Now, changed: make(chan struct{}), early: map[int]Block{}, hum: make(audio.Clip, audio.Rate/10)}
}

// stir wakes all who wait for a change. mu is held.
func (l *Line) stir() {
	close(l.changed)
	l.changed = make(chan struct{})
}

// Tell sets what is told that the phone is gone or back. It must return quickly.
func (l *Line) Tell(news func(audio.News)) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.news = news
}

// Join makes a page the one that hears and speaks. Where another is at work, only take
// gives its place to this one. Blocks of a page are counted from 0, and it counts what
// is said from the number that Join returns: what was played last. Errors: ErrTaken,
// ErrBlock for a name that is none.
func (l *Line) Join(page string, take bool) (played int, err error) {
	if len(page) < 8 || len(page) > 64 {
		return 0, ErrBlock
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.page != "" && l.page != page && !take && l.now().Sub(l.seen) < gone {
		return 0, ErrTaken
	}
	if l.page != "" && l.page != page {
		l.cut() // what the other one was at is none any more
		if l.away.IsZero() {
			l.away = l.seen
		}
	}
	l.page, l.next, l.rate = page, 0, 0
	l.contact()
	l.stir()
	return l.played, nil
}

// contact notes that the page was heard of. mu is held.
func (l *Line) contact() {
	l.seen = l.now()
	if l.away.IsZero() {
		return
	}
	l.broke = &audio.Break{Away: max(l.seen.Sub(l.away), time.Millisecond)}
	l.away = time.Time{}
	l.tell("The phone is back", false)
}

func (l *Line) tell(text string, gone bool) {
	if l.news != nil {
		l.news(audio.News{Text: text, Gone: gone, Lost: l.lost})
	}
}

// cut ends what came so far: what comes next does not continue it. mu is held.
func (l *Line) cut() {
	l.early, l.gap, l.to = map[int]Block{}, time.Time{}, nil
	if l.broke == nil {
		l.broke = &audio.Break{}
	}
}

// Still notes that a page is there and has nothing to send.
func (l *Line) Still(page string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if page != l.page || page == "" {
		return ErrTaken
	}
	l.contact()
	return nil
}

// Take takes a block, and says which comes next and which are missing before what came
// already. A block that was taken already is no error. Errors: ErrTaken, ErrBlock.
func (l *Line) Take(b Block) (next int, missing []int, err error) {
	if !b.sound() {
		return 0, nil, ErrBlock
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if b.Page != l.page || b.Page == "" {
		return 0, nil, ErrTaken
	}
	l.contact()
	if b.N >= l.next+ahead {
		l.lose(b.N)
	}
	if b.N >= l.next {
		b.PCM = append([]byte(nil), b.PCM...)
		l.early[b.N] = b
	}
	l.drain()
	if len(l.early) > 0 && l.now().Sub(l.gap) > lateFor {
		first := b.N
		for n := range l.early {
			first = min(first, n)
		}
		l.lose(first)
		l.drain()
	}
	l.stir()
	if len(l.early) > 0 {
		last := 0
		for n := range l.early {
			last = max(last, n)
		}
		for n := l.next; n < last; n++ {
			if _, ok := l.early[n]; !ok {
				missing = append(missing, n)
			}
		}
	}
	return l.next, missing, nil
}

// lose gives up the blocks before number n. mu is held.
func (l *Line) lose(n int) {
	kept := l.early
	l.cut()
	l.lost++
	for k, b := range kept {
		if k >= n {
			l.early[k] = b
		}
	}
	l.next = n
}

// drain takes the blocks that are in their order. mu is held.
func (l *Line) drain() {
	for {
		b, ok := l.early[l.next]
		if !ok {
			break
		}
		delete(l.early, l.next)
		l.next++
		l.gap = time.Time{}
		l.hear(b)
	}
	if len(l.early) > 0 && l.gap.IsZero() {
		l.gap = l.now()
	}
}

// hear adds a block to what is ready, unless the phone caught itself in it. mu is held.
func (l *Line) hear(b Block) {
	if b.After < l.played || l.saying != nil {
		l.to = nil
		return
	}
	if len(l.ready) > longest { // nobody reads
		l.ready = nil
		l.cut()
		l.lost++
	}
	if l.to == nil || l.rate != b.Rate {
		to, err := audio.NewResampler(b.Rate, audio.Rate)
		if err != nil {
			return // the rate was looked at
		}
		l.to, l.rate = to, b.Rate
	}
	for range b.Quiet {
		l.ready = append(l.ready, l.hum...)
	}
	if b.Quiet > 0 {
		return
	}
	samples := make([]float32, len(b.PCM)/2)
	for i := range samples {
		samples[i] = float32(int16(binary.LittleEndian.Uint16(b.PCM[2*i:]))) / 32768
	}
	fresh := l.to.Push(samples)
	l.heard += int64(len(fresh))
	l.ready = append(l.ready, fresh...)
	if len(fresh) >= len(l.hum) {
		copy(l.hum, fresh[len(fresh)-len(l.hum):])
	}
}

// Next waits for the next of what the phone hears: see audio.Source. A phone that is gone
// is waited for, and half an hour at most.
func (l *Line) Next(ctx context.Context) (audio.Clip, error) {
	for {
		l.mu.Lock()
		changed := l.changed
		switch {
		case l.closed:
			l.mu.Unlock()
			return nil, advice.New("the phone was let go", "start the session again")
		case l.broke != nil:
			broke := l.broke
			l.broke = nil
			l.mu.Unlock()
			return nil, broke
		case len(l.ready) > 0:
			n := min(audio.FrameSize, len(l.ready))
			frame := l.ready[:n:n]
			l.ready = l.ready[n:]
			l.mu.Unlock()
			return frame, nil
		}
		l.mu.Unlock()
		if err := l.await(ctx, changed); err != nil {
			return nil, err
		}
	}
}

// await waits for a change, and tells of a phone that is gone meanwhile.
func (l *Line) await(ctx context.Context, changed <-chan struct{}) error {
	look := time.NewTimer(gone / 4)
	defer look.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-changed:
		return nil
	case <-look.C:
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	silent := l.now().Sub(l.seen)
	switch {
	case l.page == "" || silent < gone:
	case l.away.IsZero():
		l.away = l.seen
		l.cut()
		l.broke = nil // told with how long it was, when it is back
		l.tell("The phone is gone: look whether its page is open and in reach; waycall waits for it", true)
	case silent > wait:
		return advice.New("the phone is gone", "open its page again, and start the session again")
	}
	return nil
}

// Discard forgets what was caught and not yet read.
func (l *Line) Discard() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ready = nil
}

// Play has the phone speak, and returns when it has done so: see say.Player. Where there is
// no phone, or none any more, it waits for one and speaks all of it again.
func (l *Line) Play(ctx context.Context, sound audio.Clip) error {
	if err := ctx.Err(); err != nil || len(sound) == 0 {
		return err
	}
	l.mu.Lock()
	l.said++
	this := l.said
	l.saying, l.ready = audio.EncodeWAV(sound), nil
	l.stir()
	l.mu.Unlock()
	defer func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.saying, l.ready, l.to = nil, nil, nil
		l.played = max(l.played, this) // what was caught before this is not heard
		l.stir()
	}()
	for {
		l.mu.Lock()
		changed, done, closed := l.changed, l.played >= this, l.closed
		l.mu.Unlock()
		switch {
		case done:
			return nil
		case closed:
			return advice.New("the phone was let go", "start the session again")
		}
		if err := l.await(ctx, changed); err != nil {
			return err
		}
	}
}

// Played notes that a page has played what was said under a number.
func (l *Line) Played(page string, n int) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if page != l.page || page == "" {
		return ErrTaken
	}
	if n < 1 || n > l.said {
		return ErrBlock
	}
	l.contact()
	l.played = max(l.played, n)
	l.stir()
	return nil
}

// saying is what a page has to know.
type saying struct {
	changed <-chan struct{}
	taken   bool   // another page is at work
	n       int    // of what is spoken now
	wav     []byte // nil while nothing is
	closed  bool
}

// now returns what is spoken at this moment, for a page.
func (l *Line) speaks(page string) saying {
	l.mu.Lock()
	defer l.mu.Unlock()
	return saying{l.changed, page != l.page, l.said, l.saying, l.closed}
}

// End returns for how long the phone was heard, and how often sound of it was lost.
func (l *Line) End() screen.End {
	l.mu.Lock()
	defer l.mu.Unlock()
	return screen.End{Device: "a phone", Rate: audio.Rate, Seconds: float64(l.heard) / audio.Rate, Lost: l.lost}
}

// Close lets the phone go.
func (l *Line) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.closed {
		l.closed = true
		l.stir()
	}
	return nil
}
