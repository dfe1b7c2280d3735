package bench

import "waycall/internal/phrase"

// Method is one way of hearing a phrase, for comparison with waycall's own.
//
// Hear is given 16 kHz mono sound and must leave it as it is. ok is false where
// the method heard nothing that the grammar knows: the phrase then counts as
// ignored. An error ends the run; its text says what to do.
type Method struct {
	Name string // a short name for a table, such as "whisper, free"
	Note string // weights, version and settings, on one line
	Hear func(sound []float32) (words string, m phrase.Meaning, ok bool, err error)
}

// Ear returns m as an Ear. It never asks: what it hears, it is sure of.
func (m Method) Ear() Ear {
	return Ear{Name: m.Name, Note: m.Note, Hear: func(sound []float32) (Answer, error) {
		words, meaning, ok, err := m.Hear(sound)
		return Answer{ForUs: ok, Words: words, Meaning: meaning, Sure: ok, Confidence: -1}, err
	}}
}

// Ear is a way of hearing that can be unsure.
type Ear struct {
	Name string
	Note string
	Hear func(sound []float32) (Answer, error) // given 16 kHz mono sound, which it leaves as it is
}
