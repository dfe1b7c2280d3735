package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"waycall/internal/hear/engines"
)

// The tests run this very program: the test binary is waycall when it is called
// by that name.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"waycall": func() { os.Exit(run()) }, "peak": peak})
}

// rootPath returns a path below the repository's root.
func rootPath(t testing.TB, elem ...string) string {
	t.Helper()
	p, err := filepath.Abs(filepath.Join(append([]string{"..", ".."}, elem...)...))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// modelFile is the built model; without it nothing here can be tested.
func modelFile(t testing.TB) string {
	t.Helper()
	p := rootPath(t, "models", engines.Model)
	if _, err := os.Stat(p); err != nil {
		t.Fatalf("%v; run make test, which builds it", err)
	}
	return p
}

// The scripts in testdata/script show each command as a user runs it.
func TestScripts(t *testing.T) {
	model := modelFile(t)
	testscript.Run(t, testscript.Params{
		Dir:  "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"take": take, "cutoff": cutOffScript, "exits": exits, "review": review, "visit": visit, "end": end, "forge": forge, "pack": packed, "bomb": bomb},
		Setup: func(env *testscript.Env) error {
			env.Setenv("WAYCALL_MODEL", model)
			env.Setenv("WAYCALL_DATA", filepath.Join(env.WorkDir, "jobs"))
			env.Setenv("TURNED", "a\u202eb") // b stands before a on the screen
			env.Setenv("SOUND", rootPath(t, "testdata", "audio"))
			env.Setenv("BOARDS", rootPath(t, "testdata", "boards"))
			env.Setenv("READINGS", rootPath(t, "testdata", "readings"))
			return nil
		},
	})
}

// A command that the README does not name is found by nobody.
func TestReadmeNamesCommands(t *testing.T) {
	readme, err := os.ReadFile(rootPath(t, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range newRoot().Commands() {
		if c.Hidden || c.Name() == "help" || c.Name() == "completion" {
			continue
		}
		if !strings.Contains(string(readme), "\n    waycall "+c.Name()+" ") {
			t.Errorf("waycall %s is not in the list of commands of README.md", c.Name())
		}
	}
}
