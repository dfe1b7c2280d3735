package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/record"
	"waycall/internal/store"
)

// What is printed last after Ctrl-C was looked at: that all is kept only where it is.
func TestLastLine(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(path string) error
		kept bool
		says string
	}{
		"nothing happened": {func(string) error { return nil }, true, ""},
		"removed":          {os.Remove, true, "is written back as"},
		"replaced": {func(p string) error {
			return errors.Join(os.WriteFile(p+".other", []byte("not a job"), 0o600), os.Rename(p+".other", p))
		}, false, "job-rescued.waycall"},
		"its log cut": {func(p string) error { return os.Truncate(p+"-wal", 0) }, false, "not all of what was stored is there"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "job.waycall")
			log, err := store.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			job := boardtest.Read(t, "terrace.yaml")
			if _, err := log.Append(t.Context(), []record.Event{{ID: 1, At: time.Now(), Kind: record.Opened, Job: &job}}, nil); err != nil {
				t.Fatal(err)
			}
			if err := c.do(path); err != nil {
				t.Fatal(err)
			}
			var printed bytes.Buffer
			got := closeJob(log, context.Canceled, &printed)
			if kept := errors.As(got, new(keptError)); kept != c.kept || errors.Is(got, context.Canceled) != c.kept {
				t.Errorf("it ends with %v", got)
			}
			if !strings.Contains(printed.String()+got.Error(), c.says) {
				t.Errorf("it says %q and %v", printed.String(), got)
			}
		})
	}
}
