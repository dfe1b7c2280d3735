package board

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

// A board file that names no edition is judged by the one in force, one that names
// an older one by that, and a job of before there was a choice by A2.
func TestEdition(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, small()); err != nil {
		t.Fatal(err)
	}
	named := "edition: \"" + string(Current) + "\"\n"
	text := b.String()
	if !strings.Contains(text, named) {
		t.Fatalf("the edition is not written:\n%s", text)
	}
	for _, c := range []struct {
		line string
		want Edition
	}{{"", Current}, {"edition: BS 7671:2018+A2:2022\n", A2}, {"edition: BS 7671:2018+A4:2026\n", A4}} {
		job, err := Read(strings.NewReader(strings.Replace(text, named, c.line, 1)), "a")
		if err != nil || job.Edition != c.want || job.JudgedBy() != c.want {
			t.Errorf("%q: %q, %v", c.line, job.Edition, err)
		}
	}
	_, err := Read(strings.NewReader(strings.Replace(text, named, "edition: BS 7671:2018+A9:2031\n", 1)), "a")
	var p *Problem
	if !errors.As(err, &p) || p.Line == 0 || p.Column != 10 || !strings.Contains(p.What, "A9:2031") {
		t.Errorf("an edition that there is not: %v", err)
	}
	old := small()
	old.Edition = ""
	if old.JudgedBy() != A2 || !old.Same(small()) {
		t.Errorf("a job of before: %q", old.JudgedBy())
	}
	old.Tester = "XX"
	if old.Same(small()) {
		t.Error("another tester is another job")
	}
}

func TestEditionOf(t *testing.T) {
	for _, c := range []struct{ source, want string }{
		{"BS 7671 Table 64", "BS 7671:2018+A4:2026 Table 64"},
		{"IET Guidance Note 3 and BS 7671 regulation 643.2.1, from memory", "IET Guidance Note 3 and BS 7671:2018+A4:2026 regulation 643.2.1, from memory"},
		{"BS 7671:2008 Table 41.2(b)", "BS 7671:2008 Table 41.2(b)"},
		{"", ""},
	} {
		if got := A4.Of(c.source); got != c.want || A4.Of(got) != got {
			t.Errorf("%q: %q", c.source, got)
		}
	}
}
