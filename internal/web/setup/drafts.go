// This file keeps the drafts: in memory with what they were before, so that a step can be
// taken back, and in a folder as they are now, so that nothing is lost with the server.

package setup

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"

	"waycall/internal/plainfile"
)

// ErrNone is returned for a draft that is not there.
var ErrNone = errors.New("there is no such draft: it was set up as a job, or removed; go to the list of jobs")

// ErrStale is returned where another page has written to a draft since the one that writes
// was made.
var ErrStale = errors.New("this was changed on another page meanwhile")

// ErrNewer is returned for a draft that a later waycall has written.
var ErrNewer = errors.New("a later waycall has written this draft; open it with that one, or begin anew")

// mostKept is how many steps can be taken back.
const mostKept = 200

// ending is the ending of the file of a draft.
const ending = ".draft.json"

var ids = regexp.MustCompile(`^[0-9a-f]{16}$`)

// Drafts are the drafts of a folder. Its methods may be called from several goroutines.
type Drafts struct {
	dir  string
	mu   sync.Mutex
	open map[string]*history
}

// history is a draft with what it was.
type history struct {
	version int // of the last step
	steps   []step
}

// step is what a draft was from one version on, and the page that made it so.
type step struct {
	version int
	page    string
	draft   Draft
	said    []string // what was done
}

// NewDrafts returns the drafts of a folder of jobs, in the folder drafts below it, which
// need not be there.
func NewDrafts(jobs string) *Drafts {
	return &Drafts{dir: filepath.Join(jobs, "drafts"), open: map[string]*history{}}
}

// Listed is a draft in the list of them.
type Listed struct {
	ID    string
	Draft Draft
	Wrong string // why it cannot be read; then there is no draft
}

// List returns the drafts of the folder, in the order of their references.
func (s *Drafts) List() ([]Listed, error) {
	entries, err := os.ReadDir(s.dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the folder of drafts could not be read: %w; check that it may be read", err)
	}
	var all []Listed
	for _, e := range entries {
		id, ok := strings.CutSuffix(e.Name(), ending)
		if !ok || !ids.MatchString(id) {
			continue
		}
		now, err := s.Get(id)
		l := Listed{ID: id, Draft: now.Draft}
		if err != nil {
			l.Wrong = err.Error()
		}
		all = append(all, l)
	}
	slices.SortFunc(all, func(a, b Listed) int {
		return strings.Compare(a.Draft.Fields["reference"], b.Draft.Fields["reference"])
	})
	return all, nil
}

// State is a draft as it is now.
type State struct {
	Draft   Draft
	Version int      // that a page names which writes to it
	Said    []string // what the last step was, in sentences
	CanUndo bool
}

// Begin keeps a new draft and returns its id. said is what is to be known of it.
func (s *Drafts) Begin(d Draft, said []string) (string, error) {
	var b [8]byte
	rand.Read(b[:]) // it does not fail
	id := hex.EncodeToString(b[:])
	s.mu.Lock()
	defer s.mu.Unlock()
	h := &history{version: 1, steps: []step{{version: 1, draft: d.Clone(), said: said}}}
	if err := s.write(id, d); err != nil {
		return "", err
	}
	s.open[id] = h
	return id, nil
}

// Get returns a draft as it is now. Errors: ErrNone, ErrNewer, a file that cannot be read.
func (s *Drafts) Get(id string) (State, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.find(id)
	if err != nil {
		return State{}, err
	}
	return State{h.now().Clone(), h.version, h.steps[len(h.steps)-1].said, len(h.steps) > 1}, nil
}

// Base returns what a draft was at a version, for a page that was made from it; what it is
// now where that is not kept any more.
func (s *Drafts) Base(id string, version int) (Draft, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.find(id)
	if err != nil {
		return Draft{}, err
	}
	for i := len(h.steps) - 1; i >= 0; i-- {
		if h.steps[i].version <= version {
			return h.steps[i].draft.Clone(), nil
		}
	}
	return h.now().Clone(), nil
}

// Put keeps what a page, which was made from a version, makes of a draft, and returns the
// version that it has then. Errors: ErrStale where another page wrote since; then nothing is
// changed. said is what was done, in sentences.
func (s *Drafts) Put(id string, version int, page string, d Draft, said ...string) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.find(id)
	if err != nil {
		return 0, err
	}
	for _, st := range h.steps {
		if st.version > version && st.page != page {
			return h.version, ErrStale
		}
	}
	if len(said) == 0 && reflect.DeepEqual(h.now(), d) {
		return h.version, nil
	}
	return s.step(id, h, step{page: page, draft: d.Clone(), said: said})
}

// Undo takes the last step back, and reports whether there was one. Errors: those of Put.
func (s *Drafts) Undo(id string) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, err := s.find(id)
	if err != nil || len(h.steps) < 2 {
		return false, err
	}
	kept := h.steps
	last := kept[len(kept)-2]
	h.steps = kept[:len(kept)-2]
	if _, err := s.step(id, h, step{draft: last.draft, said: []string{"The last step was taken back."}}); err != nil {
		h.steps = kept
		return false, err
	}
	return true, nil
}

// Drop removes a draft. One that is not there is gone already.
func (s *Drafts) Drop(id string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.open, id)
	if !ids.MatchString(id) {
		return ErrNone
	}
	if err := os.Remove(s.file(id)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the draft could not be removed: %w; check the folder and its disk", err)
	}
	return nil
}

func (h *history) now() Draft { return h.steps[len(h.steps)-1].draft }

// step adds a step to a history, when it is written.
func (s *Drafts) step(id string, h *history, st step) (int, error) {
	if err := s.write(id, st.draft); err != nil {
		return h.version, err
	}
	h.version++
	st.version = h.version
	h.steps = append(h.steps, st)
	if len(h.steps) > mostKept {
		h.steps = slices.Clone(h.steps[len(h.steps)-mostKept:])
	}
	return h.version, nil
}

func (s *Drafts) file(id string) string { return filepath.Join(s.dir, id+ending) }

func (s *Drafts) write(id string, d Draft) error {
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return fmt.Errorf("the folder of drafts could not be made: %w; check the folder of jobs and its disk", err)
	}
	return plainfile.Write(s.file(id), 0o600, false, func(w io.Writer) error { return json.NewEncoder(w).Encode(d) })
}

// find returns the history of a draft, read from its file where it is not open.
func (s *Drafts) find(id string) (*history, error) {
	if !ids.MatchString(id) {
		return nil, ErrNone
	}
	if h := s.open[id]; h != nil {
		return h, nil
	}
	f, err := plainfile.Open(s.file(id))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNone
	}
	if err != nil {
		return nil, fmt.Errorf("the draft could not be opened: %w; check its file", err)
	}
	defer f.Close()
	var d Draft
	const damaged = "the draft %s could not be read: %w; move the file away and begin anew"
	if err := json.NewDecoder(io.LimitReader(f, 8<<20)).Decode(&d); err != nil {
		return nil, fmt.Errorf(damaged, s.file(id), err)
	}
	switch {
	case d.Format > Format:
		return nil, ErrNewer
	case len(d.Boards) == 0 || len(d.Boards) > mostBoards:
		return nil, fmt.Errorf(damaged, s.file(id), errors.New("it has no boards"))
	}
	d = d.Clone() // a group that is null becomes an empty one
	h := &history{version: 1, steps: []step{{version: 1, draft: d}}}
	s.open[id] = h
	return h, nil
}
