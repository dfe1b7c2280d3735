package rivals

import (
	"bufio"
	"bytes"
	_ "embed"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"time"

	"waycall/internal/lab/bench"
	"waycall/internal/phrase"
)

//go:embed faster.py
var fasterSource string

// patience is how long faster-whisper may take to load, or over one phrase.
const patience = 2 * time.Minute

// faster is a running faster-whisper.
type faster struct {
	cmd  *exec.Cmd
	in   io.WriteCloser
	out  *bufio.Reader
	errs bytes.Buffer
}

type answer struct {
	Text  string `json:"text"`
	Ready string `json:"ready"`
	Error string `json:"error"`
}

func startFaster(o Options) (*faster, string, error) {
	if err := exists("faster-whisper", o.Python, "scripts/setup --tests"); err != nil {
		return nil, "", err
	}
	if err := exists("faster-whisper", o.CT2, "scripts/setup"); err != nil {
		return nil, "", err
	}
	f := &faster{cmd: exec.Command(o.Python, "-c", fasterSource, o.CT2, strconv.Itoa(o.Threads))}
	f.cmd.Stderr = &f.errs
	var err error
	if f.in, err = f.cmd.StdinPipe(); err != nil {
		return nil, "", fmt.Errorf("faster-whisper: %w; close other programs", err)
	}
	out, err := f.cmd.StdoutPipe()
	if err != nil {
		return nil, "", fmt.Errorf("faster-whisper: %w; close other programs", err)
	}
	f.out = bufio.NewReader(out)
	if err := f.cmd.Start(); err != nil {
		return nil, "", fmt.Errorf("faster-whisper: %w; run scripts/setup --tests", err)
	}
	a, err := f.read()
	if err != nil {
		f.close()
		return nil, "", err
	}
	return f, a.Ready, nil
}

// read waits for one answer. A process that hangs is killed, which ends the wait.
func (f *faster) read() (answer, error) {
	late := time.AfterFunc(patience, func() { _ = f.cmd.Process.Kill() })
	line, err := f.out.ReadBytes('\n')
	late.Stop()
	var a answer
	if err == nil {
		err = json.Unmarshal(line, &a)
	}
	switch {
	case err != nil:
		f.close() // ends the process, so that all it wrote to errs is there
		said := strings.Split(strings.TrimSpace(f.errs.String()), "\n")
		return a, fmt.Errorf("faster-whisper gave no answer (%w) %s; run scripts/setup --tests", err, said[len(said)-1])
	case a.Error != "":
		return a, fmt.Errorf("faster-whisper: %s; run scripts/setup --tests", a.Error)
	}
	return a, nil
}

func (f *faster) transcribe(sound []float32) (string, error) {
	raw := make([]byte, 0, 4*len(sound))
	for _, x := range sound {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(x))
	}
	line, err := json.Marshal(map[string]string{"sound": base64.StdEncoding.EncodeToString(raw), "prompt": prompt})
	if err != nil {
		return "", fmt.Errorf("faster-whisper: %w; report this", err)
	}
	if _, err := f.in.Write(append(line, '\n')); err != nil {
		return "", fmt.Errorf("faster-whisper is gone: %w; run the comparison again", err)
	}
	a, err := f.read()
	return a.Text, err
}

// close ends the process.
func (f *faster) close() {
	f.in.Close()
	late := time.AfterFunc(5*time.Second, func() { _ = f.cmd.Process.Kill() })
	defer late.Stop()
	_ = f.cmd.Wait() // killed, it has no good end
}

// openFaster is faster-whisper in a process of its own, started once: loading is
// not part of the time of a phrase, and handing over the sound costs about 2 ms.
func openFaster(g *phrase.Grammar, o Options) (bench.Method, func(), error) {
	f, version, err := startFaster(o)
	if err != nil {
		return bench.Method{}, nil, err
	}
	return bench.Method{
		Name: "faster-whisper",
		Note: "faster-whisper " + version + ", plain tiny.en int8, beam 5, full context, example prompt, no voice detection, then a parse",
		Hear: func(sound []float32) (string, phrase.Meaning, bool, error) {
			if len(sound) == 0 {
				return "", phrase.Meaning{}, false, nil
			}
			text, err := f.transcribe(sound)
			words, m, ok := understand(g, text)
			return words, m, ok, err
		},
	}, f.close, nil
}
