package main

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"

	"waycall/internal/audio"
	"waycall/internal/bundle"
	"waycall/internal/record"
	"waycall/internal/store"
)

// forge makes a record with right sums that waycall itself would not make, as somebody
// could who sends one: that of the demonstration with a text of its JSON exchanged
// wherever it stands. Exchanged for itself, it is the record as it should be.
//
//	forge FILE OLD NEW
func forge(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("forge FILE OLD NEW")
	}
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "jobs", "terrace.jsonl"))
	ts.Check(err)
	if !strings.Contains(string(text), args[1]) {
		ts.Fatalf("the record has no %s", args[1])
	}
	sound := audio.EncodeWAV(make(audio.Clip, 1600))
	ts.Check(os.MkdirAll(filepath.Dir(ts.MkAbs(args[0])), 0o700))
	s, err := store.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	defer s.Close()
	for line := range strings.Lines(strings.ReplaceAll(string(text), args[1], args[2])) {
		var e record.Event
		ts.Check(json.Unmarshal([]byte(line), &e))
		var heard []byte
		if e.Kind == record.Heard {
			heard = sound
		}
		_, err := s.Append(context.Background(), []record.Event{e}, heard)
		ts.Check(err)
	}
}

// packed packs a record as export does, without looking at what is in it.
//
//	pack FILE ZIP
func packed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("pack FILE ZIP")
	}
	ctx := context.Background()
	path := ts.MkAbs(args[0])
	m := bundle.Manifest{Format: "waycall job", Version: 1}
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	defer f.Close()
	z := zip.NewWriter(f)
	add := func(name string, content []byte) {
		sum := sha256.Sum256(content)
		m.Files = append(m.Files, bundle.File{Name: name, Size: int64(len(content)), SHA256: hex.EncodeToString(sum[:])})
		w, err := z.Create(name)
		ts.Check(err)
		_, err = w.Write(content)
		ts.Check(err)
	}
	database, err := os.ReadFile(path)
	ts.Check(err)
	add("job.waycall", database)
	if r, err := store.Verify(ctx, path); err == nil {
		m.Events, m.Head = r.Events, r.Head
		s, err := store.OpenReadOnly(path)
		ts.Check(err)
		defer s.Close()
		log, err := s.Events(ctx)
		ts.Check(err)
		for _, e := range log {
			if e.Kind == record.Heard {
				sound, err := s.Sound(ctx, e.ID)
				ts.Check(err)
				add(fmt.Sprintf("sounds/%06d.flac", e.ID), sound)
			}
		}
	}
	w, err := z.Create("manifest.json")
	ts.Check(err)
	ts.Check(json.NewEncoder(w).Encode(m))
	ts.Check(z.Close())
}

// bomb makes a zip that is small, and takes much to look at:
//
//	bomb manifest FILE    a list of 15 million files in its manifest
//	bomb directory FILE   a list of 400,000 files at its end
func bomb(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("bomb KIND FILE")
	}
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	defer f.Close()
	z := zip.NewWriter(f)
	add := func(name, content string) {
		w, err := z.Create(name)
		ts.Check(err)
		_, err = w.Write([]byte(content))
		ts.Check(err)
	}
	list := "{}"
	switch args[0] {
	case "manifest":
		list = strings.Repeat("{},", 15_000_000) + "{}"
	case "directory":
		for n := range 400_000 {
			add(fmt.Sprintf("sounds/%06d.flac", n), "")
		}
	}
	add("manifest.json", `{"format":"waycall job","version":1,"files":[`+list+`]}`)
	ts.Check(z.Close())
}

// peak is a program of its own: it runs another and fails where that took more memory
// than so many MiB. The system counts what the one that begins a program has as that
// program's, so it is not begun from the tests, which have much.
//
//	peak MIB COMMAND ARGS...
func peak() {
	most, err := strconv.ParseInt(os.Args[1], 10, 64)
	if err != nil {
		panic(err)
	}
	cmd := exec.Command(os.Args[2], os.Args[3:]...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	err = cmd.Run()
	if cmd.ProcessState == nil {
		panic(err)
	}
	took := cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss >> 10
	fmt.Printf("it took %d MiB\n", took)
	if took > most {
		os.Exit(99)
	}
	os.Exit(cmd.ProcessState.ExitCode())
}
