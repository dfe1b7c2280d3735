package jobfile

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
	"time"
)

// What SQLite leaves in the write-ahead log beside a job, by "The WAL File Format" in
// sqlite.org/fileformat2. SQLite ends the log without a word at the first frame whose sum
// is wrong; this file looks at what lies behind it.
//
//	header  magic, version, page size, round, salts (2), sums (2); 32 bytes
//	frame   page, size of the database when it ends a commit or else 0, salts, sums; 24 bytes
//	        and the page
//
// All numbers are of 32 bits, big-endian. The sums go on from frame to frame, and begin
// with those of the header. A checkpoint begins a new round with other salts at the start
// of the file, so old frames may lie behind the new ones.
const (
	walHeader = 32
	walFrame  = 24
	walMagic  = 0x377f0682 // with the lowest bit set the sums are of big-endian words
	walFormat = 3007000
)

// LogScan is what a write-ahead log holds. The zero LogScan is of none.
type LogScan struct {
	size    int64 // bytes of the file
	commits int   // that SQLite takes
	End     int64 // byte where the last of them ends
	// behind counts the commits of the same round from the first frame on that SQLite
	// does not take. A power cut in the middle of a commit leaves at most 1, because
	// each is on the disk before the next begins. More are damage.
	Behind   int
	Headless bool            // its header is not one that SQLite takes
	round    [walHeader]byte // the header as it lies there
}

// Torn is how many commits a power cut can leave behind the end of the log.
const Torn = 1

// walSum goes on with a pair of sums over b, whose length is a multiple of 8.
func walSum(order binary.ByteOrder, s [2]uint32, b []byte) [2]uint32 {
	if order == binary.ByteOrder(binary.LittleEndian) { // what is usual, without a call for each word
		for ; len(b) >= 8; b = b[8:] {
			s[0] += binary.LittleEndian.Uint32(b) + s[1]
			s[1] += binary.LittleEndian.Uint32(b[4:]) + s[0]
		}
		return s
	}
	for ; len(b) >= 8; b = b[8:] {
		s[0] += order.Uint32(b) + s[1]
		s[1] += order.Uint32(b[4:]) + s[0]
	}
	return s
}

func pairAt(b []byte) [2]uint32 {
	return [2]uint32{binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])}
}

// scanLog reads a log of size bytes. page is the size of a page of its database, for a
// header that cannot be relied on. The error is of r.
func scanLog(r io.Reader, size int64, page int) (LogScan, error) {
	s := LogScan{size: size}
	if size < walHeader {
		return s, nil
	}
	in := bufio.NewReaderSize(r, 1<<18)
	if _, err := io.ReadFull(in, s.round[:]); err != nil {
		return s, err
	}
	h := s.round[:]
	magic, salts := binary.BigEndian.Uint32(h), pairAt(h[16:])
	var order binary.ByteOrder = binary.LittleEndian
	if magic&1 == 1 {
		order = binary.BigEndian
	}
	sum := walSum(order, [2]uint32{}, h[:24])
	sound := magic&^1 == walMagic && binary.BigEndian.Uint32(h[4:]) == walFormat && sum == pairAt(h[24:])
	if sound {
		page = int(binary.BigEndian.Uint32(h[8:]))
	}
	if page < 512 || page > 65536 {
		return s, nil
	}
	frame := make([]byte, walFrame+page)
	valid := sound
	s.Headless = !sound
	for at := int64(walHeader); at+int64(len(frame)) <= size; at += int64(len(frame)) {
		if _, err := io.ReadFull(in, frame); err != nil {
			return s, err
		}
		if !sound && at == walHeader { // the frames themselves say of which round they are
			if salts = pairAt(frame[8:]); salts == [2]uint32{} {
				return s, nil
			}
		}
		ofRound := pairAt(frame[8:]) == salts
		ends := binary.BigEndian.Uint32(frame[4:]) != 0
		if valid {
			sum = walSum(order, walSum(order, sum, frame[:8]), frame[walFrame:])
			valid = ofRound && binary.BigEndian.Uint32(frame) != 0 && sum == pairAt(frame[16:])
		}
		switch {
		case valid && ends:
			s.commits++
			s.End = at + int64(len(frame))
		case !valid && ofRound && ends:
			s.Behind++
		}
	}
	return s, nil
}

// ReadLog scans the log beside the job at path. A session may write it meanwhile. It is no
// file of which SQLite holds locks, so it may be opened and closed here.
func ReadLog(path string, page int) (LogScan, error) {
	return settled(func() (LogScan, error) {
		f, err := OpenPlain(path + "-wal")
		if errors.Is(err, fs.ErrNotExist) {
			return LogScan{}, nil
		}
		if err != nil {
			return LogScan{}, err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return LogScan{}, err
		}
		return scanLog(f, info.Size(), page)
	}, func() { time.Sleep(20 * time.Millisecond) })
}

// settled scans until what looks like damage, or could not be read, stays the same: a log
// that is begun anew while it is read looks damaged where the rounds meet.
func settled(scan func() (LogScan, error), wait func()) (LogScan, error) {
	s, err := scan()
	for try := 0; try < 20 && (err != nil || s.Behind > 0); try++ {
		before := s
		wait()
		if s, err = scan(); err == nil && s == before {
			break
		}
	}
	return s, err
}

// OpenPlain opens a file beside a job for reading: never a link, and no pipe that would
// have to be waited for.
func OpenPlain(name string) (*os.File, error) {
	return OpenBeside(name, os.O_RDONLY)
}
