package bundle

import (
	"encoding/json"
	"strings"
	"testing"
)

// FuzzContent changes what is inside of a packed job and makes its sums agree, so that
// not the zip but what reads the manifest, the database and the sounds is tried: it
// must be refused in one line, leaving nothing, or be a job that is whole.
func FuzzContent(f *testing.F) {
	good := packed(f, job(f))
	all := unzip(f, good)
	names := make([]string, len(all))
	for i, e := range all {
		names[i] = e.Name
		f.Add(uint8(i), e.data)
		f.Add(uint8(i), e.data[:len(e.data)/2])
	}
	for _, text := range []string{"", "null", `{"format":"x","version":1}`, `{"version":1e99}`, `{"files":[{}]}`, strings.Repeat("[", 20_000)} {
		f.Add(uint8(0), []byte(text))
	}
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		all := unzip(t, good)
		name := names[int(which)%len(names)]
		if name == manifestName {
			find(all, name).data = data
		} else {
			put(t, all, name, data)
		}
		path, err := take(t, rezip(t, all))
		if err != nil {
			if strings.ContainsAny(err.Error(), "\x00\x1b\n") {
				t.Errorf("%q", err)
			}
			return
		}
		// What was taken in can be packed and taken in again.
		if _, err := take(t, packed(t, path)); err != nil {
			t.Errorf("%s as %.200q was taken, and not again: %v", name, data, err)
		}
	})
}

// FuzzManifest is the same for a manifest that is one, field by field.
func FuzzManifest(f *testing.F) {
	good := packed(f, job(f))
	f.Add("record.db", int64(1), strings.Repeat("0", 64), uint8(0), false)
	f.Add("../../x", int64(-1), "", uint8(1), true)
	f.Add("sounds/000002.flac", int64(1)<<62, "zz", uint8(2), true)
	f.Fuzz(func(t *testing.T, name string, size int64, sum string, which uint8, more bool) {
		all := unzip(t, good)
		manifest(t, all, func(m *Manifest) {
			file := File{Name: name, Size: size, SHA256: sum}
			if more {
				m.Files = append(m.Files, file)
			} else {
				m.Files[int(which)%len(m.Files)] = file
			}
		})
		var m Manifest
		if err := json.Unmarshal(find(all, manifestName).data, &m); err != nil {
			t.Fatal(err)
		}
		if path, err := take(t, rezip(t, all)); err == nil {
			before := unzip(t, good)
			after := unzip(t, packed(t, path))
			if len(before) != len(after) {
				t.Errorf("%+v was taken for a job of %d files, and it has %d", m, len(after), len(before))
			}
		} else if strings.ContainsAny(err.Error(), "\x00\x1b\n") {
			t.Errorf("%q", err)
		}
	})
}
