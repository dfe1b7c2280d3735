package phrase

import (
	"testing"
	"time"

	"waycall/grammar"
)

func load(t testing.TB) *Grammar {
	t.Helper()
	g, err := Load(grammar.Files)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func TestX(t *testing.T) {
	t0 := time.Now()
	g := load(t)
	t.Log(len(g.words), time.Since(t0))
	t0 = time.Now()
	a := g.Narrow(Scope{})
	n := 0
	for _, s := range a.States {
		n += len(s.Arcs)
	}
	t.Log(len(a.States), n, time.Since(t0))
	for _, s := range []string{"way three live to earth over nine nine nine", "no two hundred and six", "double nine", "over range", "way seven", "way twenty five live to earth one", "a thousand and six ohms", "point four seven", "way four line to line over five hundred megohms"} {
		m, ok := g.Meaning(s)
		t.Logf("%s: %v %v %+v", s, ok, a.Accepts(s), m)
	}
}
