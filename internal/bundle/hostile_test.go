package bundle

import (
	"bytes"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"waycall/internal/store"
)

// No refusal ends before its advice.
func TestEveryRefusalHasAdvice(t *testing.T) {
	for _, reason := range []error{ErrNotPacked, ErrNewer, ErrAltered, ErrTooMuch, store.ErrForeign} {
		if err := refuse(reason, "x"); strings.HasSuffix(err.Error(), "; ") {
			t.Errorf("%q", err)
		}
	}
}

// What goes on behind the end of the database is refused, also where the manifest
// agrees with it and the zip is small.
func TestBehindTheDatabase(t *testing.T) {
	good := packed(t, job(t))
	for name, more := range map[string][]byte{"zeros": make([]byte, 1<<20), "one byte": {0}, "a page": bytes.Repeat([]byte("x"), 4096)} {
		t.Run(name, func(t *testing.T) {
			all := unzip(t, good)
			put(t, all, databaseName, append(bytes.Clone(find(all, databaseName).data), more...))
			_, err := take(t, rezip(t, all))
			if !errors.Is(err, ErrAltered) || !strings.Contains(err.Error(), "its database ends at") {
				t.Error(err)
			}
		})
	}
}

// A manifest that lists far more than is in the zip is refused before it is taken
// apart, whatever the list is made of.
func TestLongManifest(t *testing.T) {
	good := packed(t, job(t))
	for name, one := range map[string]string{"objects": "{}", "nulls": "null", "numbers": "0", "texts": `""`} {
		for _, n := range []int{2_000, 20_000_000} {
			t.Run(fmt.Sprintf("%d %s", n, name), func(t *testing.T) {
				all := unzip(t, good)
				find(all, manifestName).data = []byte(`{"format":"waycall job","version":1,"files":[` + strings.Repeat(one+",", n) + one + `]}`)
				zipped := rezip(t, all)
				clear(all)
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				_, err := take(t, zipped)
				runtime.ReadMemStats(&after)
				if !errors.Is(err, ErrTooMuch) && !errors.Is(err, ErrAltered) {
					t.Error(err)
				}
				if took := after.TotalAlloc - before.TotalAlloc; took > 16<<20 {
					t.Errorf("it took %d MB", took>>20)
				}
			})
		}
	}
}
