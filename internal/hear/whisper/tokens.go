package whisper

import (
	"strings"
)

// tokens splits words as the model was trained to write them: by byte pairs, of which
// the pair whose token has the lowest number is joined first. whisper.cpp's own
// tokeniser takes the longest token from the left, and so writes " no|ught" where the
// model writes " n|ought"; scored so, every phrase with "nought" or "zed" in it was
// some 25 nats too unlikely. ok is false for a text that cannot be split so.
func (m *Model) tokens(words string) (all []int32, ok bool) {
	for _, w := range strings.Fields(words) {
		// As GPT-2 does, an ending such as "'s" is split off first.
		head, tail, cut := strings.Cut(w, "'")
		parts := []string{" " + head}
		if cut {
			parts = append(parts, "'"+tail)
		}
		for _, p := range parts {
			if all, ok = m.pairs(all, p); !ok {
				return nil, false
			}
		}
	}
	return all, true
}

// pairs appends the tokens of one part.
func (m *Model) pairs(to []int32, part string) ([]int32, bool) {
	pieces := strings.Split(part, "")
	for {
		best, at := m.eot, -1
		for i := range len(pieces) - 1 {
			if id, ok := m.number[pieces[i]+pieces[i+1]]; ok && id < best {
				best, at = id, i
			}
		}
		if at < 0 {
			break
		}
		pieces[at] += pieces[at+1]
		pieces = append(pieces[:at+1], pieces[at+2:]...)
	}
	for _, p := range pieces {
		id, ok := m.number[p]
		if !ok {
			return nil, false
		}
		to = append(to, id)
	}
	return to, true
}
