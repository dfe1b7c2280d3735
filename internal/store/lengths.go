package store

import (
	"context"
	"time"

	"waycall/internal/sound"
	"waycall/internal/store/internal/jobfile"
)

// headOfSound is how much of a sound is read for its length, in bytes.
const headOfSound = 1024

// LengthsOf returns how long the sounds of the job at path last, by their Heard events,
// without reading them whole or checking them. One whose head is damaged is not among
// them. Errors: as for OpenReadOnly.
func LengthsOf(ctx context.Context, path string) (map[int64]time.Duration, error) {
	doing := "read the lengths of the sounds of the job"
	path, err := jobfile.Locate(path)
	if err != nil {
		return nil, jobfile.Explain(doing, path, err)
	}
	db, _, err := openReader(path)
	if err != nil {
		return nil, jobfile.Explain(doing, path, err)
	}
	defer db.Close()
	rows, err := db.QueryContext(ctx, "SELECT event_id, substr(data, 1, ?), length(data) FROM sounds", headOfSound)
	if err != nil {
		return nil, jobfile.Explain(doing, path, err)
	}
	defer rows.Close()
	all := map[int64]time.Duration{}
	for rows.Next() {
		var id, size int64
		var head []byte
		if err := rows.Scan(&id, &head, &size); err != nil {
			return nil, jobfile.Explain(doing, path, err)
		}
		if d, err := sound.Length(head, size); err == nil {
			all[id] = d
		}
	}
	return all, jobfile.Explain(doing, path, rows.Err())
}
