package jobs

import (
	"fmt"
	"io"

	"waycall/internal/store"
)

// CloseTelling ends the use of a job that was worked on, which brings its copy up to date.
// What became of the copy, and of a file that was taken away, goes to w. Errors: those of
// store.Store.Close.
func CloseTelling(s *store.Store, w io.Writer) error {
	closed := s.Close()
	if copied := s.Copied(); copied != nil {
		fmt.Fprintf(w, "waycall: %v\n", copied)
	}
	if path, _ := s.Rescued(); path != "" && path == s.Path() {
		fmt.Fprintf(w, "waycall: the file of the record was taken away by somebody and is written back as %s\n", path)
	}
	return closed
}
