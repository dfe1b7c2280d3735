// Package jobcache is the folder of jobs as a server of pages sees it: which jobs there
// are, and what is known of each, kept in memory and added to as its log grows. It knows
// nothing of pages. Package web, its live view and the command that starts them import it.
package jobcache

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"waycall/internal/english"
	"waycall/internal/jobs"
	"waycall/internal/record"
	"waycall/internal/report"
	"waycall/internal/review"
	"waycall/internal/sequence"
	"waycall/internal/store"
)

// ErrNoJob is returned for an id that no job in the folder has: there never was
// one, or it was renamed, put away or deleted since.
var ErrNoJob = fmt.Errorf("there is no such job (it may have been renamed, put away or deleted); go to the list of jobs: %w", fs.ErrNotExist)

// Folder is the folder where jobs are kept, as the server sees it. What was read
// of a job is kept in memory and added to when the log grows, whoever writes it.
// Its methods may be called from several goroutines.
type Folder struct {
	dir   string
	mu    sync.Mutex
	jobs  map[string]*job // by id
	clock int64           // counts uses, to know which job was used last
}

// Most is how many jobs are kept in memory whole.
const Most = 4

// job is what is kept of one job.
type job struct {
	id, name, path string
	used           int64 // of Folder.clock; under Folder.mu

	mu     sync.Mutex // one reads the file at a time
	log    follower   // nil when it was let go
	snap   *Snapshot  // nil before the first reading, and when it was let go
	listed Listed     // of the last snapshot
	seen   store.Look // at the file, before listed was made from it
}

// follower reads the log of a job as it grows: *jobs.Follower, but in tests.
type follower interface {
	Read(ctx context.Context) (*jobs.Log, error)
}

// NewFolder returns the folder of jobs at dir. Nothing is read yet, and it need
// not exist.
func NewFolder(dir string) *Folder { return &Folder{dir: dir, jobs: map[string]*job{}} }

// Dir returns the folder itself.
func (f *Folder) Dir() jobs.Folder { return jobs.Folder(f.dir) }

// IDOf returns the id of a job in addresses: it stands for the name of its file and
// is never part of a path.
func IDOf(name string) string {
	sum := sha256.Sum256([]byte(name))
	return hex.EncodeToString(sum[:8])
}

// look reads which files are in the folder.
func (f *Folder) look() error {
	files, err := jobs.Folder(f.dir).List()
	if err != nil {
		return fmt.Errorf("the folder of jobs could not be read: %w; check that it is there and may be read", err)
	}
	there := map[string]bool{}
	for _, file := range files {
		name := jobs.Name(file)
		id := IDOf(name)
		there[id] = true
		if f.jobs[id] == nil {
			f.jobs[id] = &job{id: id, name: name, path: file}
		}
	}
	for id := range f.jobs {
		if !there[id] {
			delete(f.jobs, id)
		}
	}
	return nil
}

// find returns the job with an id.
func (f *Folder) find(id string) (*job, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.jobs[id] == nil {
		if err := f.look(); err != nil {
			return nil, err
		}
	}
	j := f.jobs[id]
	if j == nil {
		return nil, ErrNoJob
	}
	f.clock++
	j.used = f.clock
	return j, nil
}

// Path returns where the file of a job lies. Error: ErrNoJob.
func (f *Folder) Path(id string) (string, error) {
	j, err := f.find(id)
	if err != nil {
		return "", err
	}
	return j.path, nil
}

// byUse returns the jobs that are known, that which was used last first.
func (f *Folder) byUse() []*job {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.SortedFunc(maps.Values(f.jobs), func(a, b *job) int { return int(b.used - a.used) })
}

// looked returns the jobs that are in the folder now.
func (f *Folder) looked() ([]*job, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	err := f.look()
	return slices.Collect(maps.Values(f.jobs)), err
}

// letGo forgets what was read of all but the jobs that were used last.
func (f *Folder) letGo() {
	for i, j := range f.byUse() {
		if i >= Most && j.mu.TryLock() {
			j.snap, j.log = nil, nil
			j.mu.Unlock()
		}
	}
}

// Listed is one job in the list.
type Listed struct {
	ID, Name  string // Name is that of its file, by which waycall finds it
	Reference string
	Address   string
	Tester    string
	Boards    []string // names
	Progress  sequence.Progress
	Finished  bool
	Signed    bool
	Open      int  // what needs a person
	Running   bool // a session has it open
	Changed   time.Time
	Problem   string // why it cannot be read; then nothing else is known
}

// States are what the list may be limited to, by what a form sends and in words.
var States = [][2]string{{"open", "something to look at"}, {"running", "session running"}, {"unfinished", "not finished"}, {"finished", "finished, not signed"}, {"signed", "signed off"}, {"unread", "cannot be read"}}

// Is reports whether a job is in a state of States; in "" is every job.
func (l Listed) Is(state string) bool {
	switch state {
	case "open":
		return l.Open > 0 && !l.Running
	case "running":
		return l.Running
	case "unfinished":
		return l.Problem == "" && !l.Finished
	case "finished":
		return l.Finished && !l.Signed
	case "signed":
		return l.Signed
	case "unread":
		return l.Problem != ""
	}
	return true
}

// Has reports whether a job has each of some words in its reference, address, tester,
// boards or the day on which it was last written. The words are in small letters.
func (l Listed) Has(words []string) bool {
	all := strings.ToLower(strings.Join(append([]string{l.Name, l.Reference, l.Address, l.Tester, l.Changed.Local().Format("2006-01-02 2 Jan 2006")}, l.Boards...), "\n"))
	return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(all, w) })
}

// List returns the jobs in the folder, that which was changed last first.
func (f *Folder) List(ctx context.Context) ([]Listed, error) {
	all, err := f.looked()
	if err != nil {
		return nil, err
	}
	list := make([]Listed, 0, len(all))
	for _, j := range all {
		l, err := j.list(ctx)
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case errors.Is(err, ErrNoJob):
			continue // it went away between two looks
		case err != nil:
			l = Listed{ID: j.id, Name: j.name, Problem: Trouble(err)}
		}
		l.Running = store.Held(j.path)
		list = append(list, l)
	}
	slices.SortFunc(list, func(a, b Listed) int {
		if c := b.Changed.Compare(a.Changed); c != 0 {
			return c
		}
		return strings.Compare(a.Name, b.Name)
	})
	f.letGo()
	return list, nil
}

func (j *job) list(ctx context.Context) (Listed, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	now, err := store.LookAt(j.path)
	if err == nil && j.listed.ID != "" && now.Same(j.seen) && j.snap == nil {
		return j.listed, nil
	}
	s, err := j.read(ctx)
	if err != nil {
		return Listed{}, err
	}
	j.listed, j.seen = s.Listed(), now
	return j.listed, nil
}

// Open returns what is known of a job now. Errors: ErrNoJob, and those of
// store.Tail.
func (f *Folder) Open(ctx context.Context, id string) (*Snapshot, error) {
	j, err := f.find(id)
	if err != nil {
		return nil, err
	}
	s, err := j.open(ctx)
	f.letGo()
	if errors.Is(err, ErrNoJob) {
		f.forget(id)
	}
	return s, err
}

func (j *job) open(ctx context.Context) (*Snapshot, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.read(ctx)
}

func (f *Folder) forget(id string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	delete(f.jobs, id)
}

// read brings the snapshot up to date. The caller holds j.mu.
func (j *job) read(ctx context.Context) (*Snapshot, error) {
	whole := false
	defer func() {
		if !whole { // what it has read may not be in a snapshot
			j.log = nil
		}
	}()
	if j.log == nil || j.snap == nil {
		j.log, j.snap = jobs.Follow(j.path), nil
	}
	log, err := j.log.Read(ctx)
	whole = true
	switch {
	case errors.Is(err, fs.ErrNotExist):
		j.snap = nil
		return nil, ErrNoJob
	case err != nil:
		return nil, err
	}
	if j.snap == nil || j.snap.log != log {
		j.snap = &Snapshot{ID: j.id, Name: j.name, path: j.path, log: log, State: log.State, Events: log.Events, Head: log.Head}
	}
	return j.snap, nil
}

// Work adds events to a job. make is given what is known of it, with nobody else
// able to change it, and returns what is to be added; its error is returned as it
// is, and then nothing was. Errors: ErrNoJob, store.ErrInUse while a session has the
// job, and those of store.Open and store.Append.
func (f *Folder) Work(ctx context.Context, id string, make func(*Snapshot) ([]record.Event, error)) error {
	j, err := f.find(id)
	if err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	st, err := store.Open(j.path)
	if errors.Is(err, fs.ErrNotExist) {
		f.forget(id)
		return ErrNoJob
	}
	if err != nil {
		return err
	}
	defer st.Close()
	snap, err := j.read(ctx)
	if err != nil {
		return err
	}
	events, err := make(snap)
	if err != nil {
		return err
	}
	_, err = st.Append(ctx, events, nil)
	return err
}

// Sound returns the sound of a phrase, as it was stored. Errors: ErrNoJob,
// store.ErrNoSound, store.ErrDamaged.
func (f *Folder) Sound(ctx context.Context, id string, heard int64) ([]byte, error) {
	j, err := f.find(id)
	if err != nil {
		return nil, err
	}
	sound, err := store.SoundOf(ctx, j.path, heard)
	if errors.Is(err, fs.ErrNotExist) {
		err = ErrNoJob
	}
	return sound, err
}

// Sounds gives each the sounds of several phrases, as store.SoundsOf does.
func (f *Folder) Sounds(ctx context.Context, id string, heard []int64, each func(int64, []byte, error)) error {
	j, err := f.find(id)
	if err != nil {
		return err
	}
	if err = store.SoundsOf(ctx, j.path, heard, each); errors.Is(err, fs.ErrNotExist) {
		err = ErrNoJob
	}
	return err
}

// Lengths returns how long the sounds of the phrases last, as store.LengthsOf does.
func (f *Folder) Lengths(ctx context.Context, id string) (map[int64]time.Duration, error) {
	j, err := f.find(id)
	if err != nil {
		return nil, err
	}
	return store.LengthsOf(ctx, j.path)
}

// Snapshot is what is known of a job up to one event. It is never changed; what is
// derived from it is made once.
type Snapshot struct {
	ID, Name string
	State    record.State
	Events   []record.Event
	Head     string // sum of the last event, which stands for the whole log
	path     string
	log      *jobs.Log // from which it was made

	schedule Once[report.Schedule]
	listed   Once[Listed]
	items    Once[[]review.Item]
	standing Once[map[record.Slot]record.Reading]
}

// Queue are the items that need a person, most pressing first.
func (s *Snapshot) Queue() []review.Item {
	return s.items.Get(func() []review.Item { return review.Queue(s.State, s.Events) })
}

// Open is how many items need a person.
func (s *Snapshot) Open() int { return len(s.Queue()) }

// Signed reports whether the job is signed off, and nothing was changed since.
func (s *Snapshot) Signed() bool { return s.State.Signed != nil }

// Latest is every reading that stands, by its place.
func (s *Snapshot) Latest() map[record.Slot]record.Reading {
	return s.standing.Get(func() map[record.Slot]record.Reading {
		all := map[record.Slot]record.Reading{}
		for _, r := range s.State.Readings {
			if r.Standing == record.Stands {
				all[r.Slot] = *r
			}
		}
		return all
	})
}

// With is the snapshot as it would be with events that are not stored.
func (s *Snapshot) With(events []record.Event) (*Snapshot, error) {
	after := &Snapshot{ID: s.ID, Name: s.Name, State: s.State, Events: append(s.Events[:len(s.Events):len(s.Events)], events...), Head: s.Head, path: s.path}
	for _, e := range events {
		next, err := after.State.Apply(e)
		if err != nil {
			return nil, err
		}
		after.State = next
	}
	return after, nil
}

// Once makes a value at its first use.
type Once[T any] struct {
	mu    sync.Mutex
	made  bool
	value T
}

// Get returns the value. A make that panics has made nothing: sync.Once would take it
// for done, and an empty schedule would be shown as that of the job.
func (o *Once[T]) Get(make func() T) T {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !o.made {
		o.value = make()
		o.made = true
	}
	return o.value
}

// Schedule is the schedule of the job. Its slices must not be changed.
func (s *Snapshot) Schedule() report.Schedule {
	return s.schedule.Get(func() report.Schedule {
		made := report.Build(s.State)
		made.Record.Sum = s.Head
		return made
	})
}

// Listed is the job in the list. Running is not set.
func (s *Snapshot) Listed() Listed {
	return s.listed.Get(func() Listed {
		j := s.State.Job
		l := Listed{ID: s.ID, Name: s.Name, Reference: j.Reference, Address: j.Address, Tester: j.Tester,
			Progress: sequence.Count(s.State), Finished: s.State.Finished, Signed: s.Signed(), Open: s.Open(), Changed: s.State.LastAt}
		for _, b := range j.Boards {
			l.Boards = append(l.Boards, b.Name)
		}
		return l
	})
}

// Running reports whether a session has the job open.
func (s *Snapshot) Running() bool { return store.Held(s.path) }

// Trouble is an error in words, without the path of the file that it happened to:
// that holds the name of the job and of whoever keeps it.
func Trouble(err error) string {
	return english.Sentence(store.WithoutPath(err))
}
