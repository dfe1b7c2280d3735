package store

import (
	"context"
	"fmt"

	"waycall/internal/store/internal/jobfile"
)

// Count returns how many events the job at path has, without reading them. Errors: as
// of Verify.
func Count(ctx context.Context, path string) (n int64, err error) {
	path, err = jobfile.Locate(path)
	if err != nil {
		return 0, jobfile.Explain("look at the job", path, err)
	}
	db, c, err := openReader(path)
	if err != nil {
		return 0, jobfile.Explain("look at the job", path, err)
	}
	defer db.Close()
	if err := jobfile.CheckSchema(db, c.version); err != nil {
		return 0, jobfile.Explain("look at the job", path, err)
	}
	err = db.QueryRowContext(ctx, "SELECT count(*) FROM events").Scan(&n)
	return n, jobfile.Explain("look at the job", path, err)
}

// ends says that a file of size bytes goes on behind its database, which has pages of
// pageSize bytes.
func (r *Report) ends(size, pages, pageSize int64) {
	if end := pages * pageSize; size > end {
		r.problem(0, fmt.Sprintf("the file has %d bytes, and its database ends at %d", size, end), adviceDamaged)
	}
}
