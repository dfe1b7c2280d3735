// Package bundle puts a whole job into one file that can be sent and kept, and takes
// one in again.
//
// The file is a zip, so that it can be opened without waycall and in ten years:
//
//	job.waycall        the record: a SQLite database, in one piece, with the sounds
//	sounds/000002.flac the sound of event 2, to be listened to; the same samples
//	manifest.json      a Manifest: every other file with its size and SHA-256
//
// What comes in is hostile until it has been checked. Open checks all of it, and
// the only thing it writes until then is a temporary database of a size that was
// announced and fits; no name out of the file ever names anything on the disk.
package bundle

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"

	"waycall/internal/plainfile"
	"waycall/internal/record"
	"waycall/internal/store"
)

// Manifest says what is in the file.
type Manifest struct {
	Format    string `json:"format"`    // always "waycall job"
	Version   int    `json:"version"`   // of this layout
	Reference string `json:"reference"` // of the job, for people; the record has the last word
	Events    int64  `json:"events"`    // in the log
	Head      string `json:"head"`      // sum of the last event, as store.Report has it
	Files     []File `json:"files"`     // all others, in the order of their names
}

// File is one file in the zip.
type File struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"` // bytes
	SHA256 string `json:"sha256"`
}

const (
	formatName    = "waycall job"
	formatVersion = 1

	manifestName = "manifest.json"
	databaseName = "job.waycall"
)

// soundName matches the names of sounds, by the ID of their event.
var soundName = regexp.MustCompile(`^sounds/([0-9]{6,18})\.flac$`)

func nameOfSound(id int64) string { return fmt.Sprintf("sounds/%06d.flac", id) }

// What a file may hold. A job of a thousand readings has some 300 MB.
const (
	mostDirectory = 4 << 20 // bytes of the list of files at the end of the zip: some 65,000 sounds
	mostSound     = 8 << 20 // bytes of one sound
	mostEvents    = 200_000 // in the record
	mostTotal     = 8 << 30 // bytes of everything, unpacked
	// perFile is how many bytes of the manifest are about one file at most; waycall
	// writes some 150.
	perFile = 256
	// mostRatio is by how much a file of more than ratioFrom bytes may have been
	// packed; speech does not reach 10.
	mostRatio = 200
	ratioFrom = 256 << 20
)

// The reasons for which a packed job is refused, besides those of package store.
var (
	ErrNotPacked = errors.New("not a packed job")
	ErrNewer     = errors.New("packed by a newer waycall")
	ErrAltered   = errors.New("the file is damaged or was altered")
	ErrTooMuch   = errors.New("it would unpack to more than is allowed")
)

var whatToDo = map[error]string{
	ErrNotPacked:     "give a file that waycall export made",
	ErrNewer:         "use that waycall, or a later one",
	ErrAltered:       "nothing was imported; export the job again and send that",
	store.ErrForeign: "give a file that waycall export made",
	ErrTooMuch:       "nothing was imported; if it is a job of yours, copy its .waycall file instead",
}

func refuse(reason error, format string, args ...any) error {
	return fmt.Errorf("%w (%s); %s", reason, fmt.Sprintf(format, args...), whatToDo[reason])
}

// Write packs the job at path into w and says what it packed. A job that is not
// whole is refused, as store.Verify finds it. scratch is a folder for a temporary
// copy of the record. It may be done while another session writes; the file then
// holds the job as it was at the start.
func Write(ctx context.Context, path, scratch string, w io.Writer) (Manifest, error) {
	m, err := write(ctx, path, scratch, w)
	var file *fs.PathError
	if errors.As(err, &file) {
		err = fmt.Errorf("%w; make room on the disk, or name another folder", err)
	}
	if err != nil {
		return m, fmt.Errorf("could not pack %s: %w", path, err)
	}
	return m, nil
}

func write(ctx context.Context, path, folder string, w io.Writer) (m Manifest, err error) {
	temporary, err := newScratch(folder, ".waycall-export-*")
	if err != nil {
		return m, err
	}
	defer func() { _ = temporary.remove() }() // what is left is swept away the next time
	database := filepath.Join(temporary.dir, databaseName)
	if err := store.Snapshot(path, database); err != nil {
		return m, err
	}
	r, err := store.Verify(ctx, database)
	if err != nil {
		return m, err
	}
	if len(r.Problems) > 0 {
		return m, fmt.Errorf("the record is not whole: %s; waycall verify tells more", r.Problems[0].What)
	}
	s, err := store.OpenReadOnly(database)
	if err != nil {
		return m, err
	}
	defer s.Close()
	events, err := s.Events(ctx)
	if err != nil {
		return m, err
	}
	state, err := record.Fold(events)
	if err != nil {
		return m, err
	}
	m = Manifest{Format: formatName, Version: formatVersion, Reference: state.Job.Reference, Events: r.Events, Head: r.Head}
	z := zip.NewWriter(w)
	add := func(name string, method uint16, from io.Reader) error {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method})
		if err != nil {
			return err
		}
		sum := sha256.New()
		n, err := io.Copy(io.MultiWriter(f, sum), from)
		m.Files = append(m.Files, File{name, n, hex.EncodeToString(sum.Sum(nil))})
		return err
	}
	f, err := os.Open(database)
	if err != nil {
		return m, err
	}
	defer f.Close()
	if err := add(databaseName, zip.Deflate, f); err != nil {
		return m, err
	}
	for _, e := range events {
		if e.Kind != record.Heard {
			continue
		}
		if err := ctx.Err(); err != nil {
			return m, err
		}
		sound, err := s.Sound(ctx, e.ID)
		if err != nil {
			return m, err
		}
		if sound, err = toFLAC(sound); err != nil {
			return m, fmt.Errorf("the sound of event %d: %w", e.ID, err)
		}
		if err := add(nameOfSound(e.ID), zip.Store, bytes.NewReader(sound)); err != nil {
			return m, err
		}
	}
	slices.SortFunc(m.Files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	mf, err := z.CreateHeader(&zip.FileHeader{Name: manifestName, Method: zip.Deflate})
	if err != nil {
		return m, err
	}
	enc := json.NewEncoder(mf)
	enc.SetIndent("", " ")
	if err := enc.Encode(m); err != nil {
		return m, err
	}
	return m, z.Close()
}

// Packed is a packed job that was checked from end to end, and unpacked into a
// temporary file.
type Packed struct {
	Manifest Manifest
	State    record.State // what the record says
	Report   store.Report // what store.Verify found: no problems
	database string       // the temporary file
	folder   *scratch     // where it is; nil when nothing is there
}

// Open checks all of the packed job in file. scratch is the folder in which its
// record is unpacked meanwhile, and from which Keep moves it: the folder for jobs,
// or one on the same disk. Call Close afterwards.
func Open(ctx context.Context, file, scratch string) (*Packed, error) {
	p := &Packed{}
	if err := p.open(ctx, file, scratch); err != nil {
		p.Close()
		return nil, fmt.Errorf("could not take in %s: %w", file, err)
	}
	return p, nil
}

// Keep makes the job one of those on this computer, at path. Errors: fs.ErrExist
// when there is one already, and those of store.Move.
func (p *Packed) Keep(path string) error {
	if err := store.Move(p.database, path); err != nil {
		return err
	}
	p.Close() // the folder is empty now
	return nil
}

// Close removes what was unpacked and not kept.
func (p *Packed) Close() error {
	if p.folder == nil {
		return nil
	}
	folder := p.folder
	p.folder = nil
	return folder.remove()
}

// isRecord reports whether a file is a SQLite database, as the record of a job is.
func isRecord(f io.ReaderAt) bool {
	var begin [len(magic)]byte
	_, err := f.ReadAt(begin[:], 0)
	return err == nil && string(begin[:]) == magic
}

func (p *Packed) open(ctx context.Context, file, scratch string) error {
	f, err := plainfile.Open(file)
	switch {
	case errors.Is(err, plainfile.ErrNotPlain):
		return refuse(ErrNotPacked, "it is not a plain file")
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w; check its name", err)
	case err != nil:
		return fmt.Errorf("%w; check that it may be read", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("%w; check its name", err)
	}
	list := &bounded{f, mostDirectory}
	z, err := zip.NewReader(list, info.Size())
	if errors.Is(err, errLongList) {
		return refuse(ErrTooMuch, "its list of files is longer than %d bytes", mostDirectory)
	}
	if err != nil && isRecord(f) {
		return fmt.Errorf("%w: it is the record of a job itself, which needs no import; copy it into the folder of jobs (waycall settings shows it, as data), or look at it where it is with waycall review --data and its folder", ErrNotPacked)
	}
	if err != nil {
		return refuse(ErrNotPacked, "%v", err)
	}
	list.left = math.MaxInt64 // from here on the files are read, each within its size
	files, err := index(z)
	if err != nil {
		return err
	}
	if p.Manifest, err = readManifest(files); err != nil {
		return err
	}
	if err := matches(files, p.Manifest, info.Size()); err != nil {
		return err
	}
	if err := p.unpack(files[databaseName], scratch); err != nil {
		return err
	}
	if err := p.checkRecord(ctx); err != nil {
		return err
	}
	return p.checkSounds(ctx, files)
}

// bounded reads as much of a file as is left. The list of a zip's files is as long as
// who made it likes, and becomes ten times as long in memory.
type bounded struct {
	of   io.ReaderAt
	left int64
}

var errLongList = errors.New("the list of files is too long")

func (b *bounded) ReadAt(p []byte, at int64) (int, error) {
	if b.left -= int64(len(p)); b.left < 0 {
		return 0, errLongList
	}
	return b.of.ReadAt(p, at)
}

// index finds the files by name, and refuses what cannot be in a packed job. A name
// is only ever looked up here; still, one that tries to point elsewhere says that
// the file was made to do harm.
func index(z *zip.Reader) (map[string]*zip.File, error) {
	files := map[string]*zip.File{}
	for _, f := range z.File {
		name := f.Name
		known := name == manifestName || name == databaseName || soundName.MatchString(name)
		switch {
		case strings.ContainsAny(name, "\\\x00:") || !filepath.IsLocal(filepath.FromSlash(name)):
			return nil, refuse(ErrNotPacked, "the name %.80q in it points outside of it", name)
		case f.Mode()&os.ModeSymlink != 0:
			return nil, refuse(ErrNotPacked, "%.80q in it is a link", name)
		case !f.Mode().IsRegular() || strings.HasSuffix(name, "/"):
			return nil, refuse(ErrNotPacked, "%.80q in it is not a plain file", name)
		case !known:
			return nil, refuse(ErrNotPacked, "%.80q is in it, which no packed job has", name)
		case files[name] != nil:
			return nil, refuse(ErrAltered, "%q is in it twice", name)
		case f.Method != zip.Store && f.Method != zip.Deflate || f.Flags&1 != 0:
			return nil, refuse(ErrNotPacked, "%q is packed or locked in another way", name)
		case f.UncompressedSize64 > mostTotal:
			return nil, refuse(ErrTooMuch, "%q is said to have %d bytes", name, f.UncompressedSize64)
		}
		files[name] = f
	}
	return files, nil
}

func readManifest(files map[string]*zip.File) (m Manifest, err error) {
	f := files[manifestName]
	if f == nil {
		return m, refuse(ErrNotPacked, "it has no %s", manifestName)
	}
	if most := uint64(perFile * (16 + len(files))); f.UncompressedSize64 > most {
		return m, refuse(ErrTooMuch, "its %s has %d bytes, for %d files", manifestName, f.UncompressedSize64, len(files))
	}
	var b bytes.Buffer
	if err := copyOut(&b, f, int64(f.UncompressedSize64), nil); err != nil {
		return m, err
	}
	// What kind of file it is comes before whether we know all its fields.
	var kind struct {
		Format  string `json:"format"`
		Version int    `json:"version"`
	}
	if err := json.Unmarshal(b.Bytes(), &kind); err != nil {
		return m, refuse(ErrNotPacked, "%s: %v", manifestName, err)
	}
	switch {
	case kind.Format != formatName || kind.Version < 1:
		return m, refuse(ErrNotPacked, "%s: format %.40q, version %d", manifestName, kind.Format, kind.Version)
	case kind.Version > formatVersion:
		return m, refuse(ErrNewer, "version %d of the layout, this waycall knows up to %d", kind.Version, formatVersion)
	}
	// A file of the list takes as little as two bytes there, and a hundred in memory.
	if listed := bytes.Count(b.Bytes(), []byte(",")); listed > 3*len(files)+8 {
		return m, refuse(ErrAltered, "%s lists more than the %d files that are in it", manifestName, len(files))
	}
	dec := json.NewDecoder(&b)
	dec.DisallowUnknownFields()
	if err := dec.Decode(&m); err != nil {
		return m, refuse(ErrAltered, "%s: %v", manifestName, err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return m, refuse(ErrAltered, "%s goes on after its end", manifestName)
	}
	return m, nil
}

// matches checks that the zip holds exactly what the manifest lists, in sizes that
// can be.
func matches(files map[string]*zip.File, m Manifest, packed int64) error {
	var total int64
	seen := map[string]bool{manifestName: true}
	for _, want := range m.Files {
		f := files[want.Name]
		switch {
		case seen[want.Name]:
			return refuse(ErrAltered, "%s lists %.80q twice", manifestName, want.Name)
		case f == nil:
			return refuse(ErrAltered, "%.80q is missing", want.Name)
		case want.Size < 0 || uint64(want.Size) != f.UncompressedSize64:
			return refuse(ErrAltered, "%q has %d bytes, and should have %d", want.Name, f.UncompressedSize64, want.Size)
		case want.Name != databaseName && want.Size > mostSound:
			return refuse(ErrTooMuch, "%q has %d bytes", want.Name, want.Size)
		}
		if total += want.Size; total > mostTotal {
			return refuse(ErrTooMuch, "more than %d bytes", int64(mostTotal))
		}
		seen[want.Name] = true
	}
	if total > ratioFrom && total/mostRatio > packed {
		return refuse(ErrTooMuch, "%d bytes out of %d", total, packed)
	}
	for name := range files {
		if !seen[name] {
			return refuse(ErrAltered, "%q is not in %s", name, manifestName)
		}
	}
	if !seen[databaseName] {
		return refuse(ErrAltered, "%q is missing", databaseName)
	}
	return nil
}

// copyOut unpacks f, which has size bytes, into w. sum, when given, is what the
// manifest says of it.
func copyOut(w io.Writer, f *zip.File, size int64, sum *string) error {
	r, err := f.Open()
	if err != nil {
		return refuse(ErrAltered, "%q: %v", f.Name, err)
	}
	defer r.Close()
	h := sha256.New()
	n, err := io.Copy(w, io.TeeReader(io.LimitReader(r, size+1), h))
	switch {
	case errors.Is(err, zip.ErrChecksum) || errors.Is(err, zip.ErrFormat) || errors.Is(err, io.ErrUnexpectedEOF) || err == nil && n != size:
		return refuse(ErrAltered, "%q does not unpack to what it should", f.Name)
	case err != nil:
		var sys unix.Errno
		if errors.As(err, &sys) {
			return fmt.Errorf("%w; make room on the disk and try again", err)
		}
		return refuse(ErrAltered, "%q: %v", f.Name, err)
	case sum != nil && hex.EncodeToString(h.Sum(nil)) != *sum:
		return refuse(ErrAltered, "%q does not match its sum", f.Name)
	}
	return nil
}

// listed returns what the manifest says of a file.
func (m Manifest) listed(name string) *File {
	for i := range m.Files {
		if m.Files[i].Name == name {
			return &m.Files[i]
		}
	}
	return nil
}

// magic is how every SQLite file begins; applicationAt is where its application ID
// is ("wayc" in a job), see sqlite.org/fileformat.
const (
	magic         = "SQLite format 3\x00"
	applicationAt = 68
	headerSize    = 100
)

// unpack writes the database into a folder of its own in scratch.
func (p *Packed) unpack(f *zip.File, scratch string) error {
	want := p.Manifest.listed(databaseName)
	head := make([]byte, headerSize)
	r, err := f.Open()
	if err != nil {
		return refuse(ErrAltered, "%q: %v", f.Name, err)
	}
	_, err = io.ReadFull(r, head)
	r.Close()
	if err != nil || string(head[:len(magic)]) != magic || string(head[applicationAt:applicationAt+4]) != "wayc" {
		return refuse(store.ErrForeign, "its %s is another program's", databaseName)
	}
	if size, ok := store.SizeByHeader(head); ok && size != want.Size {
		return refuse(ErrAltered, "%q has %d bytes, and its database ends at %d", databaseName, want.Size, size)
	}
	if p.folder, err = newScratch(scratch, ".waycall-import-*"); err != nil {
		return fmt.Errorf("%w; name a folder that can be written to", err)
	}
	dir := p.folder.dir
	p.database = filepath.Join(dir, databaseName)
	var room unix.Statfs_t
	if err := unix.Statfs(dir, &room); err == nil && int64(room.Bavail)*room.Bsize < want.Size {
		return fmt.Errorf("%w: it needs %d bytes; make room and try again", store.ErrFull, want.Size)
	}
	out, err := os.OpenFile(p.database, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer out.Close()
	if err := copyOut(out, f, want.Size, &want.SHA256); err != nil {
		return err
	}
	if err := out.Sync(); err != nil {
		return err
	}
	return out.Close()
}

// checkRecord checks the unpacked database as a record, and brings one of an older
// waycall up to date.
func (p *Packed) checkRecord(ctx context.Context) (err error) {
	verify := func() error {
		if p.Report, err = store.Verify(ctx, p.database); err != nil {
			return err
		}
		if len(p.Report.Problems) > 0 {
			return refuse(ErrAltered, "%s", p.Report.Problems[0].What)
		}
		return nil
	}
	// Counted before anything is read into memory.
	n, err := store.Count(ctx, p.database)
	switch {
	case err != nil:
		return err
	case n > mostEvents:
		return refuse(ErrTooMuch, "%d events", n)
	case n != p.Manifest.Events:
		return refuse(ErrAltered, "its record is not the one that %s tells of", manifestName)
	}
	if err := verify(); err != nil {
		return err
	}
	if p.Report.Events != p.Manifest.Events || p.Report.Head != p.Manifest.Head {
		return refuse(ErrAltered, "its record is not the one that %s tells of", manifestName)
	}
	s, err := store.Open(p.database)
	if err != nil {
		return err
	}
	p.State, err = s.Fold(ctx)
	if err = errors.Join(err, s.Close()); err != nil {
		return err
	}
	if p.State.Sessions == 0 {
		return refuse(ErrAltered, "its record is empty")
	}
	return verify()
}

// checkSounds checks that each sound beside the record is that in the record.
func (p *Packed) checkSounds(ctx context.Context, files map[string]*zip.File) error {
	s, err := store.OpenReadOnly(p.database)
	if err != nil {
		return err
	}
	defer s.Close()
	if have := int64(len(files) - 2); have != p.Report.Sounds {
		return refuse(ErrAltered, "it has %d sounds beside a record with %d", have, p.Report.Sounds)
	}
	for _, want := range p.Manifest.Files {
		match := soundName.FindStringSubmatch(want.Name)
		if match == nil {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		id, err := strconv.ParseInt(match[1], 10, 64)
		if err != nil || nameOfSound(id) != want.Name {
			return refuse(ErrAltered, "no event has the number of %q", want.Name)
		}
		kept, err := s.Sound(ctx, id)
		if errors.Is(err, store.ErrNoSound) {
			return refuse(ErrAltered, "%q is the sound of no event", want.Name)
		}
		if err != nil {
			return err
		}
		var b bytes.Buffer
		b.Grow(int(want.Size) + bytes.MinRead) // at most mostSound
		if err := copyOut(&b, files[want.Name], want.Size, &want.SHA256); err != nil {
			return err
		}
		same, err := sameSound(kept, b.Bytes())
		if err != nil {
			return refuse(ErrAltered, "%q: %v", want.Name, err)
		}
		if !same {
			return refuse(ErrAltered, "%q is not the sound in the record", want.Name)
		}
	}
	return nil
}
