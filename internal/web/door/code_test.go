package door

import (
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// atClock returns a Code whose clock the test moves.
func atClock() (*Code, func(time.Duration)) {
	now := time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	c := NewCode()
	c.now = func() time.Time { return now }
	return c, func(d time.Duration) { now = now.Add(d) }
}

func TestCodeWorksOnce(t *testing.T) {
	c, pass := atClock()
	if err := c.Take("AAAA-AAAA"); !errors.Is(err, ErrNoCode) {
		t.Errorf("before there is a code: %v", err)
	}
	pass(time.Minute)
	code, _ := c.Make()
	if err := c.Take(" " + strings.ToLower(strings.ReplaceAll(code, "-", " ")) + " "); err != nil {
		t.Fatalf("the code in small letters, with spaces: %v", err)
	}
	for range 3 {
		pass(time.Minute / 4)
		if err := c.Take(code); !errors.Is(err, ErrNoCode) {
			t.Errorf("the same code again: %v", err)
		}
	}
}

func TestCodeExpires(t *testing.T) {
	c, pass := atClock()
	code, valid := c.Make()
	pass(valid)
	if err := c.Take(code); !errors.Is(err, ErrOldCode) {
		t.Errorf("after its time: %v", err)
	}
	pass(-valid) // nor when the clock is set back
	pass(GuessEvery)
	if err := c.Take(code); !errors.Is(err, ErrOldCode) && !errors.Is(err, ErrTooFast) {
		t.Errorf("with the clock set back: %v", err)
	}
	pass(valid)
	fresh, _ := c.Make()
	if err := c.Take(code); !errors.Is(err, ErrWrongCode) {
		t.Errorf("the old code, with a new one made: %v", err)
	}
	pass(GuessEvery)
	if err := c.Take(fresh); err != nil {
		t.Errorf("the new code: %v", err)
	}
}

func TestCodeGuesses(t *testing.T) {
	c, pass := atClock()
	code, _ := c.Make()
	for i := range maxWrong {
		want := ErrWrongCode
		if i == maxWrong-1 {
			want = ErrSpoilt
		}
		if err := c.Take("WRNG-WRNG"); !errors.Is(err, want) {
			t.Fatalf("guess %d: %v", i+1, err)
		}
		// Too fast: not even the code itself is looked at.
		if err := c.Take(code); !errors.Is(err, ErrTooFast) {
			t.Fatalf("right after guess %d: %v", i+1, err)
		}
		pass(GuessEvery)
	}
	if err := c.Take(code); !errors.Is(err, ErrSpoilt) {
		t.Errorf("the code itself after %d wrong guesses: %v", maxWrong, err)
	}
}

// However it is attacked, no code ever lets in two, and none but the one that was
// made last.
func TestCodeRapid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, pass := atClock()
		var codes []string
		taken := map[string]bool{}
		last := time.Duration(0)
		t.Repeat(map[string]func(*rapid.T){
			"make": func(t *rapid.T) {
				code, _ := c.Make()
				codes, last = append(codes, code), 0
			},
			"wait": func(t *rapid.T) {
				d := time.Duration(rapid.IntRange(0, 400).Draw(t, "seconds")) * time.Second
				pass(d)
				last += d
			},
			"guess": func(t *rapid.T) {
				if err := c.Take(rapid.String().Draw(t, "text")); err == nil {
					t.Fatal("a guess was taken")
				}
			},
			"replay": func(t *rapid.T) {
				if len(codes) == 0 {
					t.Skip("none was made")
				}
				i := rapid.IntRange(0, len(codes)-1).Draw(t, "which")
				if c.Take(codes[i]) != nil {
					return
				}
				if taken[codes[i]] || i != len(codes)-1 || last >= codeFor {
					t.Fatalf("code %d of %d was taken, used before: %v, after %v", i+1, len(codes), taken[codes[i]], last)
				}
				taken[codes[i]] = true
			},
		})
	})
}

func TestCodesDiffer(t *testing.T) {
	seen := map[string]bool{}
	count := map[rune]int{}
	for range 20_000 {
		code, _ := NewCode().Make()
		if len(code) != codeLength+1 || code[codeLength/2] != '-' || seen[code] {
			t.Fatalf("%q", code)
		}
		seen[code] = true
		for _, r := range strings.ReplaceAll(code, "-", "") {
			count[r]++
		}
	}
	for _, r := range codeLetters { // 5161 of each are expected; 5 sigma is 353
		if n := count[r]; n < 5161-353 || n > 5161+353 {
			t.Errorf("%c came %d times", r, n)
		}
		delete(count, r)
	}
	if len(count) > 0 {
		t.Errorf("letters that should not be: %v", count)
	}
}
