package ready

import (
	"fmt"
	"io"

	"waycall/internal/advice"
)

// State is how a part of the equipment is.
type State string

// The states, from the best to the worst.
const (
	Good    State = "good"
	Look    State = "look"    // a session runs, but look into it
	Missing State = "missing" // no session runs, or none that may be relied on
)

// Finding is what was found of one part.
type Finding struct {
	Part  string `json:"part"`
	State State  `json:"state"`
	Found string `json:"found"`
	Do    string `json:"do,omitempty"` // what to do, where it is not good
}

// fromError makes a finding of an error.
func fromError(part string, s State, err error) Finding {
	do := advice.Do(err)
	if do == "" {
		do = "put it right and run waycall ready again"
	}
	return Finding{part, s, advice.What(err), do}
}

// Worst returns the state of the whole.
func Worst(all []Finding) State {
	w := Good
	for _, f := range all {
		if f.State == Missing || f.State == Look && w == Good {
			w = f.State
		}
	}
	return w
}

// Write prints findings, each with what to do below it.
func Write(w io.Writer, all []Finding) error {
	for _, f := range all {
		if _, err := fmt.Fprintf(w, "%-7s  %-17s  %s\n", f.State, f.Part, f.Found); err != nil {
			return err
		}
		if f.Do != "" {
			if _, err := fmt.Fprintf(w, "%-7s  %-17s  -> %s\n", "", "", f.Do); err != nil {
				return err
			}
		}
	}
	return nil
}
