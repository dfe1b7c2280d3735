package bench

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"waycall/internal/lab/noise"
	"waycall/internal/plainfile"
)

// Run says what was heard, how and on what.
type Run struct {
	Set       string          `json:"set"`
	Condition noise.Condition `json:"condition"`
	Join      bool            `json:"join,omitempty"`
	Streamed  bool            `json:"streamed,omitempty"` // as from a microphone, in real time, and not the whole file at once
	Seed      uint64          `json:"seed"`
	Limit     int             `json:"limit,omitempty"` // phrases asked for, where not all were
	Methods   []string        `json:"methods"`         // names of the ears
	Notes     []string        `json:"notes"`           // of each: weights, version and settings
	Date      string          `json:"date"`            // RFC 3339
	Machine   string          `json:"machine"`         // processor, and how many
	PeakMiB   float64         `json:"peak_mib"`        // 0 while it runs
}

// Title names the condition in a few words.
func (r Run) Title() string {
	c := r.Condition.String()
	if r.Streamed {
		c += ", in real time"
	}
	switch {
	case r.Join && c == "clean":
		return "two in one breath"
	case r.Join:
		return "two in one breath, " + c
	}
	return c
}

// line is one line of a kept run.
type line struct {
	Run    *Run    `json:"run,omitempty"`
	Phrase *Result `json:"phrase,omitempty"`
}

// Writer keeps a run as JSON lines. The file appears under its name when the run
// is complete; until then, and if it is cut off, it is at that name with ".part".
type Writer struct {
	path string
	file *os.File
	enc  *json.Encoder
}

// Create begins to keep a run.
func Create(path string, r Run) (*Writer, error) {
	if err := errors.Join(plainfile.CheckTarget(path), plainfile.CheckTarget(path+".part")); err != nil {
		return nil, fmt.Errorf("results cannot be kept: %w", err)
	}
	f, err := os.Create(path + ".part")
	if err != nil {
		return nil, fmt.Errorf("results cannot be kept: %w; name a file in a folder that can be written to", err)
	}
	w := &Writer{path, f, json.NewEncoder(f)}
	if err := w.put(line{Run: &r}); err != nil {
		f.Close()
		return nil, err
	}
	return w, nil
}

func (w *Writer) put(l line) error {
	if err := w.enc.Encode(l); err != nil {
		return fmt.Errorf("results cannot be kept: %w; check that there is room on the disk", err)
	}
	return nil
}

// Add keeps what came of one phrase.
func (w *Writer) Add(r Result) error { return w.put(line{Phrase: &r}) }

// Finish completes the run, of which more is known now.
func (w *Writer) Finish(r Run) error {
	err := errors.Join(w.put(line{Run: &r}), w.file.Sync(), w.file.Close())
	if err == nil {
		err = os.Rename(w.path+".part", w.path)
	}
	if err != nil {
		return fmt.Errorf("results are incomplete in %s.part: %w; check the disk and run it again", w.path, err)
	}
	return nil
}

// Close gives up a run that was not finished and leaves what there is of it. After
// Finish it does nothing.
func (w *Writer) Close() { w.file.Close() }

// Load reads a kept run.
func Load(r io.Reader, name string) (Run, []Result, error) {
	var run *Run
	var results []Result
	dec := json.NewDecoder(bufio.NewReader(r))
	for n := 1; ; n++ {
		var l line
		if err := dec.Decode(&l); err == io.EOF {
			break
		} else if err != nil {
			return Run{}, nil, fmt.Errorf("results %s, entry %d: %w; run the bench again", name, n, err)
		}
		if l.Run != nil {
			run = l.Run // the last knows most
		}
		if l.Phrase != nil {
			results = append(results, *l.Phrase)
		}
	}
	if run == nil || len(run.Methods) == 0 || len(results) == 0 {
		return Run{}, nil, fmt.Errorf("results %s: no run in it; give a file that lab bench --save wrote", name)
	}
	return *run, results, nil
}

// By returns the results of one method.
func By(results []Result, method string) []Result {
	var out []Result
	for _, r := range results {
		if r.Method == method {
			out = append(out, r)
		}
	}
	return out
}
