package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"strconv"
	"time"
)

// row is an event as it lies in the file.
type row struct {
	id             int64
	at, kind, data string
	sum            []byte
	sound          []byte // sum of the sound of a heard event, else nil
}

// rowColumns are the columns that row.scan wants.
const rowColumns = "id, at, kind, data, sha256, sound"

func (r *row) scan(rows *sql.Rows) error {
	return rows.Scan(&r.id, &r.at, &r.kind, &r.data, &r.sum, &r.sound)
}

// kept is a sound as the table of sounds holds it.
type kept struct {
	format string // wav or flac
	rate   int    // samples a second
	data   []byte
}

// insert adds r and, where r has one, its sound.
func (r *row) insert(ctx context.Context, tx *sql.Tx, with kept) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO events ("+rowColumns+") VALUES (?, ?, ?, ?, ?, ?)", r.id, r.at, r.kind, r.data, r.sum, r.sound)
	if err == nil && r.sound != nil {
		_, err = tx.ExecContext(ctx, "INSERT INTO sounds (event_id, format, rate, data, sha256) VALUES (?, ?, ?, ?, ?)", r.id, with.format, with.rate, with.data, r.sound)
	}
	return err
}

// chain follows the log from its first event. The zero chain is before it.
type chain struct {
	id int64  // of the last event
	at string // of the last event
	// sum is that of the last event, which the next one covers.
	sum [sha256.Size]byte
}

// add follows the chain to r. Where r does not belong there, it says why and goes
// on from r all the same, so that one fault is not found again at each event after
// it.
func (c *chain) add(r *row) (fault string) {
	want := sumEvent(c.sum[:], r)
	switch {
	case r.id != c.id+1:
		fault = fmt.Sprintf("event %d is missing", c.id+1)
		if r.id > c.id+2 {
			fault = fmt.Sprintf("events %d to %d are missing", c.id+1, r.id-1)
		}
	case string(r.sum) != string(want):
		fault = fmt.Sprintf("event %d does not match its sum, which covers all before it", r.id)
	}
	c.id, c.at = r.id, r.at
	copy(c.sum[:], r.sum)
	return fault
}

// back returns how far the clock went back before r, or 0.
func (c *chain) back(r *row) time.Duration {
	last, err := time.Parse(timeLayout, c.at)
	if err != nil {
		return 0
	}
	now, err := time.Parse(timeLayout, r.at)
	if err != nil || !now.Before(last) {
		return 0
	}
	return last.Sub(now)
}

// sumEvent returns the sum of an event that follows one with the sum before. A
// nil sum before leaves it out, as schema version 1 did.
func sumEvent(before []byte, r *row) []byte {
	h := sha256.New()
	h.Write(before)
	for _, s := range []string{strconv.FormatInt(r.id, 10), r.at, r.kind, r.data} {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	h.Write(r.sound)
	return h.Sum(nil)
}

// version1Rows reads a log of schema version 1 with its sounds.
const version1Rows = `SELECT id, at, kind, events.data, events.sha256, sounds.sha256, sounds.data
	FROM events LEFT JOIN sounds ON event_id = id ORDER BY id`

// chainLog turns the log of schema version 1, whose events each had a sum of
// their own, into a chain. Every old sum is checked first: damage must not be
// sealed in.
func chainLog(tx *sql.Tx) error {
	rows, err := tx.Query(version1Rows)
	if err != nil {
		return err
	}
	defer rows.Close()
	var c chain
	var sums, sounds [][]byte
	for rows.Next() {
		var r row
		var soundSum, sound []byte
		if err := rows.Scan(&r.id, &r.at, &r.kind, &r.data, &r.sum, &soundSum, &sound); err != nil {
			return err
		}
		if what := faultOfVersion1(&r, c.id, soundSum, sound); what != "" {
			return fault(ErrDamaged, what, "")
		}
		r.sound = soundSum
		r.sum = sumEvent(c.sum[:], &r)
		c.add(&r)
		sums, sounds = append(sums, r.sum), append(sounds, soundSum)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	rows.Close()

	// The only change that a log ever sees; the rule against it is put back as it
	// was.
	var rule string
	if err := tx.QueryRow("SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND name = 'events_stay'").Scan(&rule); err != nil {
		return fault(ErrDamaged, "its tables or triggers are not those of a waycall job", "")
	}
	if _, err := tx.Exec("DROP TRIGGER events_stay"); err != nil {
		return err
	}
	set, err := tx.Prepare("UPDATE events SET sha256 = ?, sound = ? WHERE id = ?")
	if err != nil {
		return err
	}
	defer set.Close()
	for i := range sums {
		if _, err := set.Exec(sums[i], sounds[i], i+1); err != nil {
			return err
		}
	}
	_, err = tx.Exec(rule)
	return err
}

// faultOfVersion1 says what is wrong with an event of a log of schema version 1
// and its sound, or nothing.
func faultOfVersion1(r *row, last int64, soundSum, sound []byte) string {
	got := sha256.Sum256(sound)
	switch {
	case r.id != last+1:
		return fmt.Sprintf("event %d is missing", last+1)
	case string(r.sum) != string(sumEvent(nil, r)):
		return fmt.Sprintf("event %d does not match its sum", r.id)
	case r.kind == "heard" && soundSum == nil:
		return fmt.Sprintf("the sound of event %d is missing", r.id)
	case r.kind != "heard" && soundSum != nil:
		return fmt.Sprintf("event %d has a sound, and is none that was heard", r.id)
	case soundSum != nil && string(soundSum) != string(got[:]):
		return fmt.Sprintf("the sound of event %d does not match its sum", r.id)
	}
	return ""
}
