package soak

import (
	"strings"
	"testing"
)

// One is counted in the singular.
func TestCounted(t *testing.T) {
	var r Result
	r.Counts.Misheard, r.Counts.Unanswered = 2, 1
	if got := r.counted(); !strings.Contains(got, " 2 times it read back") || !strings.Contains(got, " 1 time it did not answer, 0 times it took") {
		t.Error(got)
	}
}
