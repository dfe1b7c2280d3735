// Package engines opens the three witnesses of hearing with waycall's own models.
package engines

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sync/errgroup"

	"waycall/internal/hear"
	"waycall/internal/hear/sphinx"
	"waycall/internal/hear/whisper"
	"waycall/internal/phrase"
)

// The models that scripts/setup builds.
const (
	Model      = "tiny.en-waycall-q8_0.bin"       // of the first witness
	otherModel = "tiny.en-waycall-other-q8_0.bin" // of the third
)

// ModelPath finds the model of the first witness: beside the folder of the program,
// models/ as scripts/setup builds it and share/waycall/models/ as it is installed, then
// models/ below the current folder.
func ModelPath() string {
	if exe, err := os.Executable(); err == nil {
		if real, err := filepath.EvalSymlinks(exe); err == nil {
			exe = real
		}
		above := filepath.Dir(filepath.Dir(exe))
		for _, dir := range []string{filepath.Join(above, "models"), filepath.Join(above, "share", "waycall", "models")} {
			if _, err := os.Stat(filepath.Join(dir, Model)); err == nil {
				return filepath.Join(dir, Model)
			}
		}
	}
	return filepath.Join("models", Model)
}

// Open opens both witnesses with the model at path, and the third where that is
// waycall's own. The function it returns frees them.
func Open(g *phrase.Grammar, path string, threads int) (*hear.Ear, func(), error) {
	// With another model named, or where the third was not built, two witnesses hear.
	other, own := Third(path)
	if _, err := os.Stat(other); err != nil {
		own = false
	}
	var (
		first, third *whisper.Model
		second       *sphinx.Recogniser
		all          errgroup.Group // they have nothing in common but the processor
	)
	all.Go(func() (err error) {
		first, err = whisper.Open(path, threads)
		return err
	})
	all.Go(func() (err error) {
		second, err = sphinx.Open(g.Lexicon())
		return err
	})
	if own {
		all.Go(func() (err error) {
			third, err = whisper.Open(other, threads)
			return err
		})
	}
	err := all.Wait()
	if err == nil && filepath.Base(path) == Model {
		err = cmp.Or(marked(path, first), marked(other, third))
	}
	shut := func() {
		if third != nil {
			third.Close()
		}
		if second != nil {
			second.Close()
		}
		if first != nil {
			first.Close()
		}
	}
	if err != nil {
		shut()
		return nil, nil, err
	}
	ear := hear.New(g, first, second)
	if third != nil {
		ear.WithThird(third)
	}
	return ear, shut, nil
}

// marked returns an error where a model of waycall's own does not say that it is
// adapted, as those that were built before they did: it would be taken for a plain one,
// and ask about far more.
func marked(path string, m *whisper.Model) error {
	if m == nil || m.Adapted() {
		return nil
	}
	return fmt.Errorf("speech model %s: does not say that it is adapted to the trade; run scripts/setup to build it anew, or install the package again", path)
}

// Third returns the model of the third witness, which stands beside the first's at
// path, and whether that is waycall's own, to which alone it belongs.
func Third(path string) (other string, own bool) {
	return filepath.Join(filepath.Dir(path), otherModel), filepath.Base(path) == Model
}
