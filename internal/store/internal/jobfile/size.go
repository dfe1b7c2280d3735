package jobfile

import (
	"encoding/binary"
	"errors"
	"strings"

	"waycall/internal/record"
)

// MostSound is the most that one phrase's sound may take, in bytes: four minutes
// as 16 kHz WAV, far above the longest phrase that hearing lets through.
const MostSound = 8 << 20

// What one row may hold, far above what waycall writes: a record from elsewhere is
// read row by row, and no row may fill the memory.
const (
	mostRow    = MostSound + 1<<20 // bytes, as SQLite counts them
	mostEvent  = 4 << 20           // bytes of an event's JSON; a board file has at most 1 MiB
	mostParts  = 10_000            // things that an event lists
	mostOfJobs = 100_000           // things that the description of a job lists
)

// checkSize refuses an event that would take far more memory than it has bytes, as
// {},{},{} does.
func checkSize(kind, data string) error {
	most := mostParts
	if record.Kind(kind) == record.Opened {
		most = mostOfJobs
	}
	if len(data) > mostEvent || strings.Count(data, ",") > most {
		return errors.New("it holds more than waycall writes into one")
	}
	return nil
}

// SizeByHeader returns how many bytes a database has by the first 100 of them, and
// whether they say it; see "In-header database size" in sqlite.org/fileformat.
func SizeByHeader(head []byte) (bytes int64, ok bool) {
	page := int64(binary.BigEndian.Uint16(head[16:]))
	if page == 1 {
		page = 1 << 16
	}
	pages := int64(binary.BigEndian.Uint32(head[28:]))
	changed, of := binary.BigEndian.Uint32(head[24:]), binary.BigEndian.Uint32(head[92:])
	return page * pages, pages > 0 && changed == of
}
