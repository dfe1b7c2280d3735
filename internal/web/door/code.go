// This file is the code by which another device is let in.

package door

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"
)

// Code lets a person at the terminal pair another device, such as a tablet on a
// stand: he has a code shown there and types it on the device. A code works once,
// for a few minutes, and dies of a few wrong guesses; a new one is made only when
// the person at the terminal asks. Its methods may be called from several
// goroutines.
//
// There are 31^8 codes, about 8.5e11, and maxWrong guesses at each that was asked
// for. Guesses are counted for all devices together: an attacker may have many
// addresses. He can spoil a code that way, which the terminal says, and no more.
type Code struct {
	now func() time.Time // time.Now, but in tests

	mu    sync.Mutex
	sum   [sha256.Size]byte // of the code that is valid
	until time.Time         // the zero time: none is valid
	why   error             // why none is
	wrong int               // guesses at it
	next  time.Time         // before which no guess is looked at
}

const (
	codeFor  = 5 * time.Minute
	maxWrong = 5

	// GuessEvery is the least time between two guesses, whoever makes them.
	GuessEvery = time.Second
)

// codeLetters are told apart when read from a screen and typed: no I, L, O, 0, 1.
const codeLetters = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"

const codeLength = 8

// LongestTyped is how many characters a person may type for a code: it, and what people
// put between.
const LongestTyped = 3 * codeLength

// The reasons for which a device is not paired.
var (
	ErrWrongCode = errors.New("that is not the code")
	ErrNoCode    = errors.New("no code is waiting; press Enter at the terminal of waycall review for a new one")
	ErrOldCode   = errors.New("the code has expired; press Enter at the terminal of waycall review for a new one")
	ErrSpoilt    = fmt.Errorf("the code is spoilt by %d wrong guesses; press Enter at the terminal of waycall review for a new one", maxWrong)
	ErrTooFast   = errors.New("that was too fast; wait a moment and send the code again")
)

// NewCode returns a Code with none valid yet.
func NewCode() *Code { return &Code{now: time.Now, why: ErrNoCode} }

// Make makes a new code, with a hyphen in its middle, and how long it is valid. The
// one before is void.
func (c *Code) Make() (text string, valid time.Duration) {
	b := make([]byte, 0, codeLength)
	for one := make([]byte, 1); len(b) < codeLength; {
		rand.Read(one) // never fails
		// What does not divide evenly is thrown away, so that all are as likely.
		if n := int(one[0]); n < 256-256%len(codeLetters) {
			b = append(b, codeLetters[n%len(codeLetters)])
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sum, c.until, c.wrong, c.why = sha256.Sum256(b), c.now().Add(codeFor), 0, nil
	return string(b[:codeLength/2]) + "-" + string(b[codeLength/2:]), codeFor
}

// Take uses up the code when text is it: nil, once. Capitals, spaces and hyphens
// make no difference. Errors: ErrWrongCode, ErrNoCode, ErrOldCode, ErrSpoilt,
// ErrTooFast, which counts as no guess.
func (c *Code) Take(text string) error {
	text = strings.ToUpper(strings.Map(func(r rune) rune {
		if r == ' ' || r == '-' {
			return -1
		}
		return r
	}, text))
	sum := sha256.Sum256([]byte(text))
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	if now.Before(c.next) {
		return ErrTooFast
	}
	c.next = now.Add(GuessEvery)
	if c.why == nil && !now.Before(c.until) {
		c.why = ErrOldCode
	}
	if c.why != nil {
		return c.why
	}
	// Of sums of equal length, so that the time tells nothing.
	if subtle.ConstantTimeCompare(sum[:], c.sum[:]) == 1 {
		c.why = ErrNoCode
		return nil
	}
	if c.wrong++; c.wrong >= maxWrong {
		c.why = ErrSpoilt
		return ErrSpoilt
	}
	return ErrWrongCode
}
