package bench

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"path/filepath"
	"time"

	"waycall/internal/audio"
	"waycall/internal/lab/noise"
	"waycall/internal/phrase"
	"waycall/internal/plainfile"
)

// Set is a labelled set of phrases.
type Set struct {
	Name  string // of its folder
	Dir   string
	Items []Item
}

// OpenSet reads the manifest of a set. With a limit above 0 it takes that many
// phrases, evenly spread over the set.
func OpenSet(manifest string, limit int) (Set, error) {
	f, err := plainfile.Open(manifest)
	if err != nil {
		return Set{}, fmt.Errorf("manifest: %w; check its name", err)
	}
	defer f.Close()
	items, err := ReadManifest(f, manifest)
	if err != nil {
		return Set{}, err
	}
	dir, err := filepath.Abs(filepath.Dir(manifest))
	if err != nil {
		return Set{}, fmt.Errorf("manifest %s: %w; give its whole path", manifest, err)
	}
	if n := len(items); limit > 0 && limit < n {
		some := make([]Item, limit)
		for i := range some {
			some[i] = items[i*n/limit]
		}
		items = some
	}
	return Set{Name: filepath.Base(dir), Dir: dir, Items: items}, nil
}

// sound reads the sound of one phrase.
func (s Set) sound(it Item) (audio.Clip, error) {
	clip, err := audio.ReadFile(filepath.Join(s.Dir, it.File))
	if clip == nil {
		return nil, err
	}
	return clip, nil // damaged sound is heard as it is
}

// mostTalk is how many clips of talk are enough to make babble of.
const mostTalk = 40

// Talk returns the sound of phrases of the set that are not for us, for babble.
// It is empty where the set has none.
func (s Set) Talk() ([][]float32, error) {
	var clips [][]float32
	for _, it := range s.Items {
		if it.Want.Kind != "none" || len(clips) == mostTalk {
			continue
		}
		clip, err := s.sound(it)
		if err != nil {
			return nil, err
		}
		clips = append(clips, clip)
	}
	return clips, nil
}

// Trial says how a set is heard.
type Trial struct {
	Condition noise.Condition
	Join      bool        // each phrase in one breath with the next that can follow it
	Talk      [][]float32 // for babble
	Seed      uint64      // of everything random
}

// joined returns the phrases with which each is joined: nil where there is none.
// Two values, or a reading and a value, would make a longer figure, and talk joins
// with nothing; so the second is a command or a full reading.
func (s Set) joined() []*Item {
	second := func(it Item) bool { return it.kind() == "command" || it.kind() == "reading" }
	out := make([]*Item, len(s.Items))
	for i, it := range s.Items {
		if it.Want.Kind == "none" {
			continue
		}
		for k := 1; k < len(s.Items); k++ {
			if next := &s.Items[(i+k)%len(s.Items)]; second(*next) && next.Voice == it.Voice {
				out[i] = next
				break
			}
		}
	}
	return out
}

// Try has each ear hear each phrase of the set under the same condition and calls
// each with what came of it, phrase by phrase and in the order of the ears.
// The time that an ear takes counts from being handed the sound. Before the first
// phrase each ear hears it once, unmeasured, so that nothing is measured cold.
func Try(ctx context.Context, g *phrase.Grammar, set Set, trial Trial, ears []Ear, each func(Result) error) error {
	if err := trial.Condition.Check(); err != nil {
		return err
	}
	var joined []*Item
	if trial.Join {
		joined = set.joined()
	}
	warm := false
	for i, it := range set.Items {
		if err := ctx.Err(); err != nil {
			return err
		}
		clip, err := set.sound(it)
		if err != nil {
			return err
		}
		sound := []float32(clip)
		if trial.Join {
			next := joined[i]
			if next == nil {
				continue
			}
			after, err := set.sound(*next)
			if err != nil {
				return err
			}
			sound = noise.Join(sound, after)
			it = both(it, *next)
		}
		// The seed depends on the phrase and not on what else is heard, so that a
		// part of a set sounds as it does in the whole.
		sound, err = trial.Condition.Apply(sound, trial.Talk, trial.Seed+hash(it.File))
		if err != nil {
			return err
		}
		for _, ear := range ears {
			if !warm {
				if _, err := ear.Hear(sound); err != nil {
					return fmt.Errorf("%s: %s: %w", ear.Name, it.File, err)
				}
			}
			start := time.Now()
			a, err := ear.Hear(sound)
			took := cmp.Or(a.Took, time.Since(start))
			if err != nil {
				return fmt.Errorf("%s: %s: %w", ear.Name, it.File, err)
			}
			if err := each(result(g, it, a, ear.Name, took, len(sound))); err != nil {
				return err
			}
		}
		warm = true
	}
	return nil
}

// both is two phrases in one breath. To hear either of them, or a phrase that the
// two make together ("skip this one", "no access"), is right: the read-back tells
// the electrician which one was taken.
func both(a, b Item) Item {
	text := a.Text + ", " + b.Text
	return Item{File: a.File, Text: text, Voice: a.Voice, Want: a.Want, Or: []Want{b.Want, {Kind: "command", Phrase: text}}}
}

func result(g *phrase.Grammar, it Item, a Answer, ear string, took time.Duration, samples int) Result {
	r := Result{
		Item: it, Method: ear,
		MS:        float64(took.Round(100*time.Microsecond)) / float64(time.Millisecond),
		SoundS:    float64(samples) / noise.Rate,
		Witnesses: a.Witnesses, Scores: a.Scores,
		Heard: a.Words, Evidence: a.Evidence, Nearest: nearest(g, it, a),
	}
	r.decided(g, a)
	return r
}

func hash(s string) uint64 {
	h := fnv.New64a()
	h.Write([]byte(s))
	return h.Sum64()
}
