// Package engines opens the three witnesses of hearing with waycall's own models.
package engines

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/cpu"

	"waycall/internal/advice"
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
	return advice.Errorf("run scripts/setup to build it anew, or install the package again", "speech model %s: does not say that it is adapted to the trade", path)
}

// Third returns the model of the third witness, which stands beside the first's at
// path, and whether that is waycall's own, to which alone it belongs.
func Third(path string) (other string, own bool) {
	return filepath.Join(filepath.Dir(path), otherModel), filepath.Base(path) == Model
}

// Models returns the files of the models that hear where the first is at path.
func Models(path string) []string {
	all := []string{path}
	if other, own := Third(path); own {
		if _, err := os.Stat(other); err == nil {
			all = append(all, other)
		}
	}
	return all
}

// ProcessorFits returns an error where the packaged program would crash: its recogniser
// is compiled for processors with AVX2, FMA and F16C, which PCs have had since 2013 or so
// (common practice, no published source). One built from source is compiled for the
// machine that it is built on.
func ProcessorFits(packaged bool) error {
	if packaged && runtime.GOARCH == "amd64" && !(cpu.X86.HasAVX2 && cpu.X86.HasFMA) {
		return advice.New("this processor lacks AVX2 or FMA, which the packaged program needs", "build waycall from source on this machine")
	}
	return nil
}

// Accepted refuses a model that has no sum beside it: where a number in it has changed,
// it hears something else, and nothing but the sum tells. What else is wrong with a
// model is told when it is opened.
func Accepted(model string) error {
	if _, err := os.Stat(whisper.SumFile(model)); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	sum, err := whisper.Sum(model)
	if err != nil {
		return err
	}
	return advice.New(fmt.Sprintf("speech model %s has no sum beside it, so damage to it would not be found", model),
		fmt.Sprintf("its SHA-256 is %s: compare that with where you have the model from, and accept it once with waycall ready --accept-model, and --model as here", sum))
}

// Accept writes the sum of a model that has none beside it.
func Accept(model string) error {
	if _, err := os.Stat(whisper.SumFile(model)); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	sum, err := whisper.Sum(model)
	if err != nil {
		return err
	}
	file, err := os.OpenFile(whisper.SumFile(model), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err == nil {
		_, err = fmt.Fprintf(file, "%s  %s\n", sum, filepath.Base(model))
		err = errors.Join(err, file.Close())
	}
	if err != nil {
		return advice.Errorf("copy the model to a folder that you may write to, and name it with --model", "sum of the speech model: %w", err)
	}
	return nil
}
