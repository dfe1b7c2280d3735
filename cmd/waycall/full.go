package main

import (
	"fmt"
	"os"
	"sync"

	"waycall/internal/fullscreen"
	"waycall/internal/screen"
)

const fullUsage = "show the session on the whole of the terminal, large; the plain screen where the output is no terminal"

// showFull shows w on the terminal until the function it returns is first called. Keys
// go to the full screen then, so Ctrl-C comes from there, and is what it always is.
func showFull(std streams, w *fullscreen.Screen) (end func()) {
	interrupt := func() {
		if self, err := os.FindProcess(os.Getpid()); err == nil {
			_ = self.Signal(os.Interrupt)
		}
	}
	give := w.Show(os.Stdin, screen.Under(std.out).(*os.File), interrupt)
	return sync.OnceFunc(func() {
		if err := give(); err != nil {
			fmt.Fprintf(std.err, "waycall: %v\n", err)
		}
		if said := w.Said(); said != "" { // the last of it stays to be read
			screen.New(std.out).Speaking(said)
		}
	})
}
