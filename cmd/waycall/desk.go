package main

// The one place where a command opens what hears and speaks.

import (
	"io"
	"path/filepath"
	"runtime/debug"

	"github.com/spf13/cobra"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/mic"
	"waycall/internal/hear"
	"waycall/internal/hear/engines"
	"waycall/internal/phone"
	"waycall/internal/phrase"
	"waycall/internal/say"
	"waycall/internal/say/bank"
	"waycall/internal/say/speaker"
	"waycall/internal/screen"
	"waycall/internal/settings"
)

// earFlags are the flags of every command that hears.
type earFlags struct {
	model   string
	threads int
}

func (f *earFlags) add(cmd *cobra.Command) {
	textSetting(cmd, &f.model, "model")
	numberSetting(cmd, &f.threads, "threads")
}

// modelPath finds the speech model: the setting, or the one that came with waycall.
func (f *earFlags) modelPath() string {
	if f.model != "" {
		return f.model
	}
	return engines.ModelPath()
}

// packaged reports whether this is the packaged program, not one built from source.
func packaged() bool { return version != "" }

// open loads a grammar by its name and opens the witnesses. The function it returns frees
// them.
func (f *earFlags) open(name string) (*hear.Ear, func(), error) {
	if err := engines.ProcessorFits(packaged()); err != nil {
		return nil, nil, err
	}
	// A small machine has little memory and much time between two phrases. Set so,
	// a session takes 40 MiB less, for a twentieth more of the processor.
	debug.SetGCPercent(50)
	g, err := phrase.LoadNamed(grammar.Files, name)
	if err != nil {
		return nil, nil, err
	}
	for _, model := range engines.Models(f.modelPath()) {
		if err := engines.Accepted(model); err != nil {
			return nil, nil, err
		}
	}
	return engines.Open(g, f.modelPath(), f.threads)
}

// The grammars that commands hear by.
const (
	sessionGrammar = "phrases"
	setupGrammar   = "setup"
)

// deskFlags are the flags of every command that hears and speaks at a board.
type deskFlags struct {
	ear          earFlags
	mic, speaker string
	wpm          int
	voice        string
	warn         func() io.Writer
}

func (f *deskFlags) add(cmd *cobra.Command) {
	f.ear.add(cmd)
	textSetting(cmd, &f.mic, "mic")
	textSetting(cmd, &f.speaker, "speaker")
	numberSetting(cmd, &f.wpm, "speech-rate")
	textSetting(cmd, &f.voice, "voice")
	f.warn = cmd.ErrOrStderr
}

// bank is the file of the natural voice, beside the model that came with waycall, or "".
func (f *deskFlags) bank() string {
	if f.voice != settings.VoiceBank {
		return ""
	}
	return filepath.Join(filepath.Dir(engines.ModelPath()), bank.File)
}

// desk is what hears and speaks, open.
type desk struct {
	ear    *hear.Ear
	voice  say.Voice
	player say.Player
	source audio.Source
	tell   func(func(audio.News)) // sets what is told of the devices
	end    func() screen.End      // what became of the sound
	shut   []func()
}

// open opens all of it, to hear by the grammar of that name, and over a phone where it is
// given; what was opened before something failed is closed again.
func (f *deskFlags) open(grammar string, over *phone.Open) (_ *desk, err error) {
	d := &desk{}
	defer func() {
		if err != nil {
			d.Close()
		}
	}()
	var closeEar func()
	if d.ear, closeEar, err = f.ear.open(grammar); err != nil {
		return nil, err
	}
	d.shut = append(d.shut, closeEar)
	if d.voice, err = bank.Choose(f.bank(), f.wpm, f.warn()); err != nil {
		return nil, err
	}
	if over != nil {
		d.player, d.source, d.tell, d.end = over.Line, over.Line, over.Line.Tell, over.Line.End
		return d, nil
	}
	out, err := speaker.Open(f.speaker)
	if err != nil {
		return nil, err
	}
	d.shut = append(d.shut, func() { out.Close() })
	in, err := mic.Open(f.mic)
	if err != nil {
		return nil, err
	}
	d.shut = append(d.shut, func() { in.Close() })
	d.player, d.source = out, in
	d.tell = func(news func(audio.News)) { in.Tell, out.Tell = news, news }
	d.end = func() screen.End {
		return screen.End{Device: in.Device().Name, Rate: in.Device().Rate, Seconds: in.Captured().Seconds(), Lost: in.Lost()}
	}
	return d, nil
}

// Close closes it, that which was opened last first.
func (d *desk) Close() {
	for len(d.shut) > 0 {
		last := len(d.shut) - 1
		d.shut[last]()
		d.shut = d.shut[:last]
	}
}
