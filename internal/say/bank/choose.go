package bank

import (
	"fmt"
	"io"

	"waycall/internal/say"
	"waycall/internal/say/espeak"
)

// Choose opens the voice that speaks that many words a minute by the bank at path, or
// espeak-ng where path is "". Where the bank cannot be read, espeak-ng says everything, and
// why is said on warn.
func Choose(path string, wpm int, warn io.Writer) (say.Voice, error) {
	other, err := espeak.Open(wpm)
	if err != nil || path == "" {
		return other, err
	}
	voice, err := Open(path, other, float64(wpm)/espeak.DefaultSpeed)
	if err != nil {
		fmt.Fprintf(warn, "espeak-ng speaks: %v\n", err)
		return other, nil
	}
	return voice, nil
}
