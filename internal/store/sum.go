package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"waycall/internal/store/internal/jobfile"
)

// Sum returns the sum of an event in hexadecimal. It stands for the whole log up
// to that event, so that a paper with it can be tied to the record; of the last
// event it is what Verify gives as Head. It is read as it is stored; Events and
// Verify check it. Errors: ErrInvalid when there is no such event, ErrDamaged,
// ErrDisk.
func (s *Store) Sum(ctx context.Context, id int64) (string, error) {
	var sum []byte
	err := s.db.QueryRowContext(ctx, "SELECT sha256 FROM events WHERE id = ?", id).Scan(&sum)
	if errors.Is(err, sql.ErrNoRows) {
		err = jobfile.Fault(ErrInvalid, fmt.Sprintf("there is no event %d", id), "")
	}
	if err != nil {
		return "", jobfile.Explain("read a sum of the job", s.path, err)
	}
	return fmt.Sprintf("%x", sum), nil
}
