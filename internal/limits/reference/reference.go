// Package reference lets tests compare what is reckoned with packages of Python that
// reckon the same: mpmath, scipy and pint, which make test sets up. Only tests import it.
package reference

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Run runs a script in Python with the reference packages, in as JSON on its input, and
// reads the JSON that it writes into out.
func Run(t testing.TB, script string, in, out any) {
	t.Helper()
	path, err := filepath.Abs("../../.cache/reference/bin/python")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Fatalf("the reference packages are not set up: %v; run make test", err)
	}
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "-c", script)
	cmd.Stdin, cmd.Stderr = strings.NewReader(string(data)), os.Stderr
	got, err := cmd.Output()
	if err != nil {
		t.Fatalf("the reference did not run: %v; run make test, which sets up its packages", err)
	}
	if err := json.Unmarshal(got, out); err != nil {
		t.Fatal(err)
	}
}
