package jobfile

import (
	"bytes"
	"encoding/binary"
	"os"
)

// A copy of a job is written through a rollback journal, PATH-journal, and not through a
// write-ahead log: SQLite keeps there what it writes over, until the transaction is whole.
// After a kill, or when a stick is pulled out, the file is in pieces and whole only with its
// journal. SQLite puts it back as soon as somebody opens it who may write.

// journalMagic begins a rollback journal, and ends one that names another file; see "The
// Rollback Journal" in sqlite.org/fileformat2, and "Super-Journal Files" in
// sqlite.org/atomiccommit.
var journalMagic = []byte{0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7}

// HasJournal reports whether something lies in the rollback journal beside path.
func HasJournal(path string) bool {
	info, err := os.Stat(path + "-journal")
	return err == nil && info.Size() > 0
}

// RollBack puts the file at path back to the end of its last whole transaction, where one
// was cut off; it does nothing otherwise, to a file that is no job, and where a write-ahead
// log lies beside it, which is looked at first. The caller holds the lock of the job.
// Errors: as of Peek; ErrDamaged for a journal that SQLite would follow to another file.
func RollBack(path string) error {
	if !HasJournal(path) || HasLog(path) {
		return nil
	}
	// The file in pieces may not even be one of SQLite; then its first page as it was tells.
	if _, err := Peek(path); err != nil && !undoesJob(path+"-journal") {
		return err
	}
	if names, err := namesAnother(path + "-journal"); err != nil {
		return err
	} else if names {
		return Fault(ErrDamaged, "its rollback journal "+path+"-journal names another file, which waycall never writes", "")
	}
	db := OpenDB(path, "mode=rw")
	defer db.Close()
	var tables int
	return db.QueryRow("SELECT count(*) FROM sqlite_schema").Scan(&tables)
}

// namesAnother reports whether a journal is part of a transaction of several files: SQLite
// removes the file that it names. Such a one did not come from waycall.
func namesAnother(journal string) (bool, error) {
	f, err := OpenPlain(journal)
	if err != nil {
		return false, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || info.Size() < int64(len(journalMagic)) {
		return false, err
	}
	end := make([]byte, len(journalMagic))
	if _, err := f.ReadAt(end, info.Size()-int64(len(end))); err != nil {
		return false, err
	}
	return bytes.Equal(end, journalMagic), nil
}

// undoesJob reports whether the first page of the file, as a journal keeps it, is that of a
// job.
func undoesJob(journal string) bool {
	f, err := OpenPlain(journal)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, 28)
	if _, err := f.ReadAt(head, 0); err != nil || !bytes.Equal(head[:8], journalMagic) {
		return false
	}
	count, sector, page := binary.BigEndian.Uint32(head[8:]), int64(binary.BigEndian.Uint32(head[20:])), int64(binary.BigEndian.Uint32(head[24:]))
	if sector < 28 || sector > 1<<16 || page < 512 || page > 1<<16 {
		return false
	}
	const number, identity = 4, 68 // before a page, and where application_id is in the first
	record := make([]byte, number+identity+4)
	for i := range int64(count) {
		if _, err := f.ReadAt(record, sector+i*(number+page+4)); err != nil {
			return false
		}
		if binary.BigEndian.Uint32(record) == 1 {
			first := record[number:]
			return bytes.HasPrefix(first, []byte("SQLite format 3\x00")) && binary.BigEndian.Uint32(first[identity:]) == ApplicationID
		}
	}
	return false
}
