// Package hear turns the sound of one phrase into what was said.
//
// Two witnesses of different kinds listen to every phrase. The first decodes it
// freely, which is the test for whether the phrase was for us at all: talk to a
// mate comes out as talk, not as the nearest phrase of the grammar. The second
// is held to the grammar and cannot decline. Where both give the same meaning
// the phrase is agreed. A third witness, of the first's kind but adapted on other
// data, listens when these two differ: what two of the three hear is agreed. All
// that they heard is scored by both of a kind, and the evidence makes a
// probability, the confidence, by weights fitted on a labelled set (fitted.json).
// Three things may come of it. Sure: two agree and the confidence is high. Ask: the
// electrician is read the candidates; a figure is never guessed. Ignore: talk to a
// mate, noise.
//
// Hearing need not wait until a phrase is over: an Utterance is heard from the
// moment that a pause begins, and by the time the pause is long enough to end the
// phrase, its meaning is known.
//
// The engines are in the packages whisper and sphinx below this one, behind the
// interfaces First and Second.
package hear

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"
	"sync"
	"time"

	"waycall/internal/phrase"
)

// Text is what a witness heard.
type Text struct {
	Words   string  // lower-case words separated by blanks
	LogProb float64 // natural logarithm, of the whole text with its end
	Weakest float64 // log-probability of the least likely part
	Ended   bool    // false when the text ran on and was cut
}

// First is a witness that can decode one sound in several ways. All its
// log-probabilities compare with each other.
type First interface {
	Listen(sound []float32) error           // take in 16 kHz mono sound
	Free() (Text, error)                    // the likeliest words, whatever they are
	Note() (Text, error)                    // as Free, and as long as a note may be
	Held(a *phrase.Automaton) (Text, error) // the likeliest phrase of the automaton
	Score(words string) (Text, error)       // how likely these words are
	// How likely it is that after words each of others comes, or that the text ends, for an empty one.
	Next(words string, others []string) ([]float64, error)
	Prepare(a *phrase.Automaton) // make ready for an automaton ahead of its use
	Adapted() bool               // whether Free spells words as the grammar does
}

// Joint is what two witnesses of one kind made of a sound together.
type Joint struct {
	Words   string
	LogProb [2]float64 // by each of the two, of the whole text with its end
	Ended   bool
}

// Both is the log-probability of the words by the two, multiplied.
func (j Joint) Both() float64 { return j.LogProb[0] + j.LogProb[1] }

// Joining is a First that can decode together with another of its kind: at each step
// what is likeliest to both. Both have listened to the same sound.
type Joining interface {
	First
	// Together returns the likeliest words, whatever they are, and the likeliest
	// phrases of the automaton, best first.
	Together(other First, a *phrase.Automaton) (free Joint, held []Joint, err error)
}

// Second is a witness held to an automaton. Its log-probabilities compare only
// within one sound.
type Second interface {
	Hear(a *phrase.Automaton, sound []float32) (Text, error)
	Prepare(a *phrase.Automaton) error
}

// Outcome says what kind of thing was heard.
type Outcome string

// The outcomes.
const (
	None      Outcome = "none"      // silence, noise, or talk that is not for us
	Note      Outcome = "note"      // free speech that was asked for: Ear.Note
	Reading   Outcome = "reading"   // a reading in full or a value
	Command   Outcome = "command"   // a phrase of the conversation
	Misplaced Outcome = "misplaced" // a clear phrase that cannot be here, such as way 31 of 12
)

// Candidate is one reading of a phrase.
type Candidate struct {
	Text    string
	Meaning phrase.Meaning
	LogProb float64 // by the first witness
}

// Heard is what the witnesses made of one phrase.
type Heard struct {
	Outcome    Outcome
	Missed     bool               // for None: it was probably for us, see missed
	Agreed     bool               // nothing speaks against the likeliest candidate: see the package comment
	Whole      bool               // agreed, and nothing more is to come: see Utterance.Over
	Confidence float64            // probability that the likeliest candidate is what was said; negative where none is claimed
	Candidates []Candidate        // likeliest first; more than one when disputed; for None what came nearest, if anything
	Evidence   Evidence           // what the confidence was made of; nil where none is claimed
	Words      map[string]string  // witness -> its words
	Scores     map[string]float64 // witness -> its log-probability
	Took       Took
}

// Took is how long the stages of hearing took, whether or not anybody waited for
// them: Second goes on beside Encode and Decode.
type Took struct {
	Encode time.Duration // the first witness taking in the sound
	Decode time.Duration // its free decoding
	Second time.Duration // the second witness
	Fusion time.Duration // weighing the witnesses, with the decodings that this asks for
}

// Best returns the likeliest candidate; its Text is empty when there is none.
func (h Heard) Best() Candidate {
	if len(h.Candidates) == 0 {
		return Candidate{}
	}
	return h.Candidates[0]
}

// Names of the witnesses in Heard.Words and in the record.
const (
	WhisperFree  = "whisper"       // decoded freely
	WhisperHeld  = "whisper-held"  // held to the grammar, when the free words were outside it
	WhisperOther = "whisper-other" // adapted on other data, heard when the others differ
	WhisperBoth  = "whisper-both"  // the first and that one decoding together
	Sphinx       = "sphinx"
)

// Ear hears phrases. Its methods may be called from any goroutine; the witnesses
// serve one at a time.
type Ear struct {
	grammar *phrase.Grammar
	figures figures // its words

	busy   sync.Mutex // held while the witnesses work
	first  First
	second Second
	third  First                                   // nil when there is none
	scopes map[string]*phrase.Automaton            // what may be said in a scope
	shared map[[sha256.Size]byte]*phrase.Automaton // by its states: many scopes allow the same
}

// WithThird gives the ear a third witness: the same model as the first, adapted
// on other data, so that its errors are others. Both must be Adapted. It returns
// the ear.
func (e *Ear) WithThird(third First) *Ear {
	e.third = third
	return e
}

// New returns an Ear over a grammar and two witnesses.
func New(g *phrase.Grammar, first First, second Second) *Ear {
	return &Ear{
		grammar: g, figures: figuresOf(g), first: first, second: second,
		scopes: map[string]*phrase.Automaton{}, shared: map[[sha256.Size]byte]*phrase.Automaton{},
	}
}

// Prepare makes ready for a scope ahead of its first phrase, which takes some
// tens of milliseconds once.
func (e *Ear) Prepare(s phrase.Scope) error {
	e.busy.Lock()
	defer e.busy.Unlock()
	a := e.automaton(s)
	e.first.Prepare(a)
	return e.second.Prepare(a)
}

// Note hears free speech, such as the words of a note, in 16 kHz mono sound of at
// most 29 s, held to nothing. The first witness hears it alone: of the words of the set
// talk in quiet it gets a quarter as many wrong as the third. Nobody else vouches for
// what it writes, so the sound must be kept beside it. The one candidate is empty when
// there are no words, or when they ran on without an end.
func (e *Ear) Note(sound []float32) (Heard, error) {
	e.busy.Lock()
	defer e.busy.Unlock()
	h := nothing()
	h.Outcome = Note
	if err := e.first.Listen(sound); err != nil {
		return h, err
	}
	text, err := e.first.Note()
	if err != nil {
		return h, err
	}
	h.note(WhisperFree, text)
	text.Words = strings.TrimPrefix(text.Words, brokenOff)
	if !text.Ended {
		text.Words = "" // it went round in circles, as in noise
	}
	h.Candidates = []Candidate{{Text: text.Words, LogProb: text.LogProb}}
	return h, nil
}

// sumOf tells whether two automata are the same: writing out what may be said
// takes a third of the time that narrowing the grammar takes.
func sumOf(a *phrase.Automaton) (sum [sha256.Size]byte) {
	h := sha256.New()
	var b []byte
	for _, s := range a.States {
		b = append(b[:0], '.')
		if s.Final {
			b[0] = '!'
		}
		for _, arc := range s.Arcs {
			b = append(append(b, arc.Word...), 0)
			b = binary.LittleEndian.AppendUint32(b, uint32(arc.To))
		}
		b = append(b, '\n') // no word begins with it
		h.Write(b)
	}
	h.Sum(sum[:0])
	return sum
}

// automaton keeps the automata of the scopes seen lately. Scopes in which the same may
// be said share one, and with it the masks and graphs that the witnesses make of it.
func (e *Ear) automaton(s phrase.Scope) *phrase.Automaton {
	key := fmt.Sprintf("%v %v %d %s", s.Boards, s.Ways, s.Here, s.Unit) // fmt prints maps in the order of their keys
	a := e.scopes[key]
	if a == nil {
		if len(e.scopes) >= 8 { // half a megabyte each, and a session needs four
			clear(e.scopes)
			clear(e.shared)
		}
		a = e.grammar.Narrow(s)
		states := sumOf(a)
		if known := e.shared[states]; known != nil {
			a = known
		}
		e.scopes[key], e.shared[states] = a, a
	}
	return a
}
