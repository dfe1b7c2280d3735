package newjob

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"waycall/internal/advice"
	"waycall/internal/board"
	"waycall/internal/plainfile"
)

// Register is the list of instruments in a folder of jobs, in the order of their
// serial numbers. Its file appears whole or not at all.
type Register struct{ path string }

// NewRegister returns the register that is kept in a folder. The file need not be
// there yet.
func NewRegister(folder string) Register {
	return Register{filepath.Join(folder, "instruments.json")}
}

// mostInstruments is far above what a firm has, and bounds the file.
const mostInstruments = 500

// List returns the instruments. The error says what to do with a file that is no
// register.
func (r Register) List() ([]board.Instrument, error) {
	f, err := plainfile.Open(r.path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, advice.Errorf("check the folder", "register of instruments: %w", err)
	}
	defer f.Close()
	list, err := readRegister(f)
	if err != nil {
		return nil, advice.Errorf("correct it or move it away", "register of instruments %s cannot be read: %w", r.path, err)
	}
	return list, nil
}

// readRegister reads the file of a register. What Put would lose is refused: a second
// instrument of one serial number, and anything after the list.
func readRegister(f io.Reader) ([]board.Instrument, error) {
	var list []board.Instrument
	dec := json.NewDecoder(io.LimitReader(f, mostInstruments*4096))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&list); err != nil {
		return nil, err
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, errors.New("it goes on after its list")
	}
	if len(list) > mostInstruments {
		return nil, fmt.Errorf("it has more than %d instruments", mostInstruments)
	}
	seen := map[string]bool{}
	for _, i := range list {
		if err := sound(i); err != nil {
			return nil, fmt.Errorf("%q: %w", i.Serial, err)
		}
		if seen[i.Serial] {
			return nil, fmt.Errorf("%q is in it twice", i.Serial)
		}
		seen[i.Serial] = true
	}
	return list, nil
}

// Put adds an instrument, or replaces that of the same serial number, such as after
// its calibration was checked again.
func (r Register) Put(i board.Instrument) error {
	if err := sound(i); err != nil {
		return err
	}
	return r.change(func(list []board.Instrument) ([]board.Instrument, error) {
		list = slices.DeleteFunc(list, func(x board.Instrument) bool { return x.Serial == i.Serial })
		if list = append(list, i); len(list) > mostInstruments {
			return nil, advice.Errorf("remove one first", "more than %d instruments are known", mostInstruments)
		}
		return list, nil
	})
}

// Remove takes an instrument off the list. Jobs that it was used for keep it.
func (r Register) Remove(serial string) error {
	return r.change(func(list []board.Instrument) ([]board.Instrument, error) {
		n := len(list)
		if list = slices.DeleteFunc(list, func(x board.Instrument) bool { return x.Serial == serial }); len(list) == n {
			return nil, advice.Errorf("waycall instruments lists them", "no instrument %q is known", serial)
		}
		return list, nil
	})
}

func (r Register) change(how func([]board.Instrument) ([]board.Instrument, error)) error {
	list, err := r.List()
	if err != nil {
		return err
	}
	if list, err = how(list); err != nil {
		return err
	}
	slices.SortFunc(list, func(a, b board.Instrument) int { return strings.Compare(a.Serial, b.Serial) })
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	if err := enc.Encode(list); err != nil {
		return advice.Errorf("check the figures", "register of instruments: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(r.path), 0o700); err != nil {
		return advice.Errorf("name another folder with --data", "register of instruments: %w", err)
	}
	if err := plainfile.Write(r.path, 0o600, false, func(w io.Writer) error { _, err := b.WriteTo(w); return err }); err != nil {
		return advice.Errorf("check that there is room and that the folder may be written to", "register of instruments was not written: %w", err)
	}
	return nil
}

// sound judges an instrument as a board file's is, in a job of a day long after.
func sound(i board.Instrument) error {
	job := draft("2099-12-31")
	job.Instrument = i
	if err := board.Check(job); err != nil {
		return errors.New(inWords(err))
	}
	return nil
}
