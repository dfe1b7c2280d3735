package advice

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"
)

// What failed may hold a semicolon itself: only the field says where advice begins.
func TestHalves(t *testing.T) {
	inner := Errorf("install it; or name another", "no voice: %w; a, b", fs.ErrNotExist)
	for name, tt := range map[string]struct {
		err      error
		what, do string
	}{
		"nil":     {nil, "", ""},
		"plain":   {errors.New("no voice; none at all"), "no voice; none at all", ""},
		"both":    {New("no voice", "install it"), "no voice", "install it"},
		"wrapped": {fmt.Errorf("speech: %w", inner), "speech: no voice: file does not exist; a, b", "install it; or name another"},
		"outer":   {Errorf("ask the owner", "voice: %w", inner), "voice: no voice: file does not exist; a, b; install it; or name another", "ask the owner"},
	} {
		if what, do := What(tt.err), Do(tt.err); what != tt.what || do != tt.do {
			t.Errorf("%s: %q and %q, want %q and %q", name, what, do, tt.what, tt.do)
		}
	}
	if !errors.Is(inner, fs.ErrNotExist) {
		t.Error("the cause is lost")
	}
	if got := inner.Error(); got != "no voice: file does not exist; a, b; install it; or name another" {
		t.Error(got)
	}
}
