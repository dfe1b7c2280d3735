package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"time"

	"waycall/internal/record"
	"waycall/internal/sound"
	"waycall/internal/store/internal/jobfile"
)

// Report is what Verify found.
type Report struct {
	File     string    `json:"file"`
	Schema   int       `json:"schema"`   // version of its tables
	Events   int64     `json:"events"`   // in the log
	Sounds   int64     `json:"sounds"`   // kept with heard events
	Last     time.Time `json:"last"`     // time of the last event; zero for an empty log
	Head     string    `json:"head"`     // sum of the last event, in hexadecimal: it stands for the whole log
	InDoubt  bool      `json:"in_doubt"` // its last session was cut off, and nothing tells whether its end is here
	Problems []Finding `json:"problems"` // empty when the record is whole
	Notes    []Finding `json:"notes"`    // what should be known, and is no damage
}

// Finding is one thing that Verify has to say about a job.
type Finding struct {
	Event int64  `json:"event,omitempty"` // where; 0 when it is about the file
	What  string `json:"what"`
	Do    string `json:"do"` // what to do about it
}

// String returns what was found and what to do.
func (f Finding) String() string { return f.What + "; " + f.Do }

// mostProblems bounds the list of a file that is broken everywhere.
const mostProblems = 20

const (
	adviceDamaged = "leave the file as it is and go on with a copy from a backup, the copy folder or an exported file"
	adviceForged  = "waycall does not write that, so do not rely on this record; get it anew from where it was made"
	adviceSound   = "the reading itself is whole; take the sound from a backup, the copy folder or an exported file, or test that way again"
	adviceClock   = "the order of the events is right; do not rely on their times there"
)

// Verify reads everything in the job at path and changes nothing, but that it undoes what
// was cut off in the middle of being written, as every reader does: SQLite's own
// integrity check, the chain of events from the first to the last, every sound
// against its sum, and whether the log makes sense as a record. It may be used while
// another session writes. The error is for a file that cannot be looked at: as for
// OpenReadOnly, but damage that leaves it readable is in the Report.
func Verify(ctx context.Context, path string) (Report, error) {
	r := Report{File: path, Problems: []Finding{}, Notes: []Finding{}}
	path, err := jobfile.Locate(path)
	if err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	r.File = path
	live := Held(path)
	db, c, err := openReader(path)
	if err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	defer db.Close()
	r.Schema = c.version
	// Looked at before the transaction begins: the file only ever grows.
	file, err := os.Stat(path)
	if err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	// One transaction, so that what a session writes meanwhile is not half seen.
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	defer tx.Rollback()
	x, err := c.examine(ctx, tx, live)
	if err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	if x.lost != nil {
		r.problem(x.lost.Event, x.lost.What, x.lost.Do)
	}
	r.InDoubt = x.doubt
	r.Notes = append(r.Notes, x.notes...)
	if err := jobfile.CheckSchema(tx, c.version); err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	var pages, pageSize int64
	if err := errors.Join(tx.QueryRow("PRAGMA page_count").Scan(&pages), tx.QueryRow("PRAGMA page_size").Scan(&pageSize)); err != nil {
		return r, jobfile.Explain("verify the job", path, err)
	}
	if x.lost == nil { // else the log beside the file is what is wrong
		r.ends(file.Size(), pages, pageSize)
	}
	for _, step := range []func(context.Context, *sql.Tx) error{r.pages, r.log, r.sounds} {
		if len(r.Problems) >= mostProblems {
			break
		}
		if err := step(ctx, tx); err != nil {
			if ctx.Err() != nil {
				return r, err
			}
			r.problem(0, fmt.Sprintf("the file cannot be read any further: %s", jobfile.OneLine(err.Error())), adviceDamaged)
		}
	}
	return r, nil
}

func (r *Report) problem(event int64, what, do string) {
	if len(r.Problems) < mostProblems {
		r.Problems = append(r.Problems, Finding{event, what, do})
	}
}

func (r *Report) pages(ctx context.Context, tx *sql.Tx) error {
	const homeless = "foreign_key_check(sounds)"
	look := func(pragma string) error {
		rows, err := tx.QueryContext(ctx, "PRAGMA "+pragma)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var found, table, parent, key sql.NullString
			if pragma == homeless {
				err = rows.Scan(&table, &found, &parent, &key)
				found.String = "a sound belongs to no event"
			} else {
				err = rows.Scan(&found)
			}
			if err != nil {
				return err
			}
			if found.String != "ok" {
				r.problem(0, "database: "+jobfile.OneLine(found.String), adviceDamaged)
			}
		}
		return rows.Err()
	}
	if err := look(fmt.Sprintf("integrity_check(%d)", mostProblems)); err != nil {
		return err
	}
	return look(homeless)
}

func (r *Report) log(ctx context.Context, tx *sql.Tx) error {
	if r.Schema < jobfile.Chained {
		r.Notes = append(r.Notes, Finding{What: "an older waycall wrote it, whose events have sums of their own and no chain", Do: "waycall start brings it up to date"})
		return r.version1(ctx, tx)
	}
	rows, err := tx.QueryContext(ctx, "SELECT "+jobfile.RowColumns+" FROM events ORDER BY id")
	if err != nil {
		return err
	}
	defer rows.Close()
	var c jobfile.Chain
	var s sense
	for rows.Next() {
		var e jobfile.Row
		if err := e.Scan(rows); err != nil {
			return err
		}
		r.clock(&c, &e)
		before := hex.EncodeToString(c.Sum[:])
		if what := c.Add(&e); what != "" {
			r.problem(e.ID, what, adviceDamaged)
		}
		if d, ok := r.decode(&e); ok {
			if d.Kind == record.Signed && d.Sum != before {
				r.problem(e.ID, fmt.Sprintf("event %d signs off another log: it names the sum %s, and the log before it has %s", e.ID, d.Sum, before), adviceDamaged)
			}
			s.add(d)
		}
		r.Events++
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("after event %d: %w", c.ID, err)
	}
	if c.ID > 0 {
		r.Head = fmt.Sprintf("%x", c.Sum)
	}
	r.fold(&s)
	return nil
}

// clock notes where the clock went back.
func (r *Report) clock(c *jobfile.Chain, e *jobfile.Row) {
	if by := c.Back(e); by > 0 {
		r.Notes = append(r.Notes, Finding{e.ID, fmt.Sprintf("the clock went back by %v before event %d", by.Round(time.Millisecond), e.ID), adviceClock})
	}
}

func (r *Report) decode(e *jobfile.Row) (record.Event, bool) {
	d, err := jobfile.Decode(e.ID, e.At, e.Kind, e.Data)
	if err != nil {
		r.problem(e.ID, fmt.Sprintf("event %d: %v", e.ID, err), adviceDamaged)
		return d, false
	}
	r.Last = d.At
	return d, true
}

// sense is whether a log makes sense, and whether waycall can have written it: sums are
// made anew by whoever alters a record with care. The events come one by one, as they
// may be more than the memory holds.
type sense struct {
	state record.State
	wrong []Finding
}

func (s *sense) add(e record.Event) {
	if len(s.wrong) > 0 && s.state.LastID != e.ID-1 || len(s.wrong) >= mostProblems {
		return // it stopped making sense before
	}
	first := s.state.LastID == 0
	next, err := s.state.Follow(e)
	if err != nil {
		s.wrong = append(s.wrong, Finding{s.state.LastID + 1, err.Error(), adviceDamaged})
		return
	}
	s.state = next
	if !first {
		e.Job = nil // the same as the first one's, or it would not follow
	}
	if err := record.Plausible(e); err != nil {
		s.wrong = append(s.wrong, Finding{e.ID, err.Error(), adviceForged})
	}
}

// fold adds what makes no sense in a log without damage.
func (r *Report) fold(s *sense) {
	if len(r.Problems) == 0 {
		r.Problems = append(r.Problems, s.wrong...)
	}
}

func (r *Report) sounds(ctx context.Context, tx *sql.Tx) error {
	if r.Schema < jobfile.Chained {
		return nil // version1 saw to them
	}
	rows, err := tx.QueryContext(ctx, "SELECT id, events.sound, sounds.data, event_id IS NOT NULL FROM events LEFT JOIN sounds ON event_id = id WHERE kind = 'heard' OR event_id IS NOT NULL ORDER BY id")
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var id int64
		var want, kept []byte
		var there bool
		if err := rows.Scan(&id, &want, &kept, &there); err != nil {
			return err
		}
		if there {
			r.Sounds++
		}
		what := faultOfSound(id, want, kept, there)
		if what == "" {
			if _, _, err := sound.Format(kept, jobfile.MostSound); err != nil {
				what = fmt.Sprintf("the sound of event %d: %v", id, err)
			}
		}
		if what != "" {
			r.problem(id, what, adviceSound)
		}
	}
	return rows.Err()
}

// version1 checks a log that is not a chain yet.
func (r *Report) version1(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, jobfile.Version1Rows)
	if err != nil {
		return err
	}
	defer rows.Close()
	var c jobfile.Chain
	var s sense
	for rows.Next() {
		var e jobfile.Row
		var soundSum, sound []byte
		if err := rows.Scan(&e.ID, &e.At, &e.Kind, &e.Data, &e.Sum, &soundSum, &sound); err != nil {
			return err
		}
		if what := jobfile.FaultOfVersion1(&e, c.ID, soundSum, sound); what != "" {
			r.problem(e.ID, what, adviceDamaged)
		}
		r.clock(&c, &e)
		c.Add(&e)
		if soundSum != nil {
			r.Sounds++
		}
		if d, ok := r.decode(&e); ok {
			s.add(d)
		}
		r.Events++
	}
	if err := rows.Err(); err != nil {
		return err
	}
	r.fold(&s)
	return nil
}
