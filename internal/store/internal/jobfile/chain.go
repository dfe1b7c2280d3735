package jobfile

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"strconv"
	"time"
)

// Row is an event as it lies in the file.
type Row struct {
	ID             int64
	At, Kind, Data string
	Sum            []byte
	Sound          []byte // sum of the sound of a heard event, else nil
}

// RowColumns are the columns that Row.Scan wants.
const RowColumns = "id, at, kind, data, sha256, sound"

// Scan reads a row of RowColumns.
func (r *Row) Scan(rows *sql.Rows) error {
	return rows.Scan(&r.ID, &r.At, &r.Kind, &r.Data, &r.Sum, &r.Sound)
}

// Sound is a sound as the table of sounds holds it.
type Sound struct {
	Format string // wav or flac
	Rate   int    // samples a second
	Data   []byte
}

// Insert adds r and, where r has one, its sound.
func (r *Row) Insert(ctx context.Context, tx *sql.Tx, with Sound) error {
	_, err := tx.ExecContext(ctx, "INSERT INTO events ("+RowColumns+") VALUES (?, ?, ?, ?, ?, ?)", r.ID, r.At, r.Kind, r.Data, r.Sum, r.Sound)
	if err == nil && r.Sound != nil {
		_, err = tx.ExecContext(ctx, "INSERT INTO sounds (event_id, format, rate, data, sha256) VALUES (?, ?, ?, ?, ?)", r.ID, with.Format, with.Rate, with.Data, r.Sound)
	}
	return err
}

// Chain follows the log from its first event. The zero chain is before it.
type Chain struct {
	ID int64  // of the last event
	at string // of the last event
	// sum is that of the last event, which the next one covers.
	Sum [sha256.Size]byte
}

// Add follows the chain to r. Where r does not belong there, it says why and goes
// on from r all the same, so that one fault is not found again at each event after
// it.
func (c *Chain) Add(r *Row) (fault string) {
	want := SumEvent(c.Sum[:], r)
	switch {
	case r.ID != c.ID+1:
		fault = fmt.Sprintf("event %d is missing", c.ID+1)
		if r.ID > c.ID+2 {
			fault = fmt.Sprintf("events %d to %d are missing", c.ID+1, r.ID-1)
		}
	case string(r.Sum) != string(want):
		fault = fmt.Sprintf("event %d does not match its sum, which covers all before it", r.ID)
	}
	c.ID, c.at = r.ID, r.At
	copy(c.Sum[:], r.Sum)
	return fault
}

// Back returns how far the clock went back before r, or 0.
func (c *Chain) Back(r *Row) time.Duration {
	last, err := time.Parse(timeLayout, c.at)
	if err != nil {
		return 0
	}
	now, err := time.Parse(timeLayout, r.At)
	if err != nil || !now.Before(last) {
		return 0
	}
	return last.Sub(now)
}

// SumEvent returns the sum of an event that follows one with the sum before. A
// nil sum before leaves it out, as schema version 1 did.
func SumEvent(before []byte, r *Row) []byte {
	h := sha256.New()
	h.Write(before)
	for _, s := range []string{strconv.FormatInt(r.ID, 10), r.At, r.Kind, r.Data} {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	h.Write(r.Sound)
	return h.Sum(nil)
}

// Version1Rows reads a log of schema version 1 with its sounds.
const Version1Rows = `SELECT id, at, kind, events.data, events.sha256, sounds.sha256, sounds.data
	FROM events LEFT JOIN sounds ON event_id = id ORDER BY id`

// chainLog turns the log of schema version 1, whose events each had a sum of
// their own, into a chain. Every old sum is checked first: damage must not be
// sealed in.
func chainLog(tx *sql.Tx) error {
	rows, err := tx.Query(Version1Rows)
	if err != nil {
		return err
	}
	defer rows.Close()
	var c Chain
	var sums, sounds [][]byte
	for rows.Next() {
		var r Row
		var soundSum, sound []byte
		if err := rows.Scan(&r.ID, &r.At, &r.Kind, &r.Data, &r.Sum, &soundSum, &sound); err != nil {
			return err
		}
		if what := FaultOfVersion1(&r, c.ID, soundSum, sound); what != "" {
			return Fault(ErrDamaged, what, "")
		}
		r.Sound = soundSum
		r.Sum = SumEvent(c.Sum[:], &r)
		c.Add(&r)
		sums, sounds = append(sums, r.Sum), append(sounds, soundSum)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	rows.Close()

	// The only change that a log ever sees; the rule against it is put back as it
	// was.
	var rule string
	if err := tx.QueryRow("SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND name = 'events_stay'").Scan(&rule); err != nil {
		return Fault(ErrDamaged, "its tables or triggers are not those of a waycall job", "")
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

// FaultOfVersion1 says what is wrong with an event of a log of schema version 1
// and its sound, or nothing.
func FaultOfVersion1(r *Row, last int64, soundSum, sound []byte) string {
	got := sha256.Sum256(sound)
	switch {
	case r.ID != last+1:
		return fmt.Sprintf("event %d is missing", last+1)
	case string(r.Sum) != string(SumEvent(nil, r)):
		return fmt.Sprintf("event %d does not match its sum", r.ID)
	case r.Kind == "heard" && soundSum == nil:
		return fmt.Sprintf("the sound of event %d is missing", r.ID)
	case r.Kind != "heard" && soundSum != nil:
		return fmt.Sprintf("event %d has a sound, and is none that was heard", r.ID)
	case soundSum != nil && string(soundSum) != string(got[:]):
		return fmt.Sprintf("the sound of event %d does not match its sum", r.ID)
	}
	return ""
}
