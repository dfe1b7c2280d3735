// Package demo is the recorded session that `waycall demo` plays: a board, what
// the electrician says in order, and the sound of it. Scenario and voice are
// made for the purpose; scripts/lab/render-demo renders the sound anew.
package demo

import (
	"bufio"
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"

	"waycall/internal/audio"
	"waycall/internal/board"
)

//go:embed script.jsonl board.yaml sound/*.flac
var files embed.FS

// Line is one line of the script.
type Line struct {
	Stage string `json:"stage"` // what happens, shown before the line
	Text  string `json:"text"`  // what is said; empty for a stage direction alone
	// Cut says that the session is cut off before this line and started again.
	Cut   bool       `json:"cut"`
	Noise *float64   `json:"noise_db"` // noise in the recording, dB below the speech
	Sound audio.Clip `json:"-"`
}

// Board returns the job that is tested.
func Board() (board.Job, error) {
	f, err := files.Open("board.yaml")
	if err != nil {
		return board.Job{}, err
	}
	defer f.Close()
	return board.Read(f, "the demonstration's board")
}

// Script returns the lines with their sound.
func Script() ([]Line, error) {
	src, err := files.ReadFile("script.jsonl")
	if err != nil {
		return nil, err
	}
	sounds, err := fs.Glob(files, "sound/*.flac") // numbered, so in the order of the script
	if err != nil {
		return nil, err
	}
	var lines []Line
	for s := bufio.NewScanner(bytes.NewReader(src)); s.Scan(); {
		var l Line
		if err := json.Unmarshal(s.Bytes(), &l); err != nil {
			return nil, fmt.Errorf("demonstration, line %d: %w; run scripts/lab/render-demo", len(lines)+1, err)
		}
		if l.Text != "" {
			if len(sounds) == 0 {
				return nil, fmt.Errorf("demonstration: no sound for %q; run scripts/lab/render-demo", l.Text)
			}
			data, err := files.ReadFile(sounds[0])
			if err != nil {
				return nil, err
			}
			if l.Sound, err = audio.Read(bytes.NewReader(data)); err != nil {
				return nil, fmt.Errorf("demonstration, %s: %w; run scripts/lab/render-demo", path.Base(sounds[0]), err)
			}
			sounds = sounds[1:]
		}
		lines = append(lines, l)
	}
	return lines, nil
}
