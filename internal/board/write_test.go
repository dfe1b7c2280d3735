package board

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Every board file that is read comes back as it was when it is written.
func TestWrite(t *testing.T) {
	files, err := filepath.Glob("../../testdata/boards/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal(err)
	}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		job, err := Read(f, name)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Write(&b, job); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		again, err := Read(&b, "written")
		if err != nil || !reflect.DeepEqual(again, job) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func small() Job {
	return Job{
		Reference: "W-1", Address: "1 Example Row", Date: "2026-03-14", Tester: "AB",
		Instrument: Instrument{Serial: "0012", Checked: "2026-02-02", OverRange: 999}, Edition: Current,
		Boards: []Board{{Number: 1, Name: "Board", Earthing: TNS, Voltage: 230, Phases: 1, Ways: []Way{{
			Number: 1, Feeds: "Lights", Device: Device{Standard: MCB, Type: "B", Rating: 6}, Wiring: Radial,
			Phases: 1, Material: Copper, CPCKind: Conductor,
		}}}},
	}
}

// Text that would be something else to YAML stays text, or is refused as Read does.
func TestWriteAnyText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		job := small()
		text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
			"null", "yes", "0012", "1e3", "- a", "a: b", "a #b", "'", `"`, `\`, "|", ">", "&a", "*a", "{}", "[]", "!x", "%", "@", "` ", " a", "a ", "~", "---", "=", "2026-01-01", "A\rA", "A\nA", "A\u0085A", "A\u2028A",
		})).Draw(t, "text")
		switch rapid.IntRange(0, 3).Draw(t, "where") {
		case 0:
			job.Address = text
		case 1:
			job.Boards[0].Ways[0].Feeds = text
		case 2:
			job.Instrument.Serial = text
		case 3:
			job.Boards[0].Bonding = []string{text}
		}
		var b bytes.Buffer
		err := Write(&b, job)
		if err != nil {
			if b.Len() > 0 {
				t.Fatalf("%v, and wrote %q", err, b.String())
			}
			if strings.Contains(err.Error(), "mistake in waycall") && text == strings.TrimSpace(text) {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		again, err := Read(&b, "written")
		if err != nil || !reflect.DeepEqual(again, job) {
			t.Fatalf("%q: %v", text, err)
		}
	})
}

func TestCheck(t *testing.T) {
	job := small()
	if err := Check(job); err != nil {
		t.Fatal(err)
	}
	job.Boards[0].Ways[0].Device.Rating = 31
	if err := Check(job); err == nil || !strings.Contains(err.Error(), "31") {
		t.Error(err)
	}
}
