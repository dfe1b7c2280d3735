package card

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/gordonklaus/portaudio"

	"waycall/internal/advice"
)

var owner = regexp.MustCompile(`(?m)^owner_pid\s*:\s*(\d+)\s*$`)

// held says which sound cards other programs hold in one direction, such as "Headset
// is held by process 4711 (arecord)". It reads what the kernel's sound driver tells in
// proc/asound: of each stream a file "status", which is "closed" or names its owner.
// Without such a driver there is nothing to tell.
func held(proc string, d Direction) (all []string) {
	way := map[Direction]string{In: "c", Out: "p"}[d]
	files, _ := filepath.Glob(filepath.Join(proc, "asound", "card*", "pcm*"+way, "sub*", "status"))
	for _, file := range files {
		text, _ := os.ReadFile(file)
		m := owner.FindSubmatch(text)
		if m == nil || string(m[1]) == fmt.Sprint(os.Getpid()) {
			continue
		}
		who := "process " + string(m[1])
		if name, err := os.ReadFile(filepath.Join(proc, string(m[1]), "comm")); err == nil {
			who += " (" + strings.TrimSpace(string(name)) + ")"
		}
		card := filepath.Dir(filepath.Dir(filepath.Dir(file)))
		name := filepath.Base(card)
		if id, err := os.ReadFile(filepath.Join(card, "id")); err == nil {
			name = strings.TrimSpace(string(id))
		}
		all = append(all, name+" is held by "+who)
	}
	return all
}

// notOpened says why a device that is there does not open.
func notOpened(dev Device, d Direction, err error) error {
	if !errors.Is(err, portaudio.DeviceUnavailable) {
		return fmt.Errorf("%q does not open: %w", dev.Name, err)
	}
	who := "another program holds it"
	if all := held("/proc", d); len(all) > 0 {
		who = strings.Join(all, ", ")
	}
	return advice.Errorf("close that program", "%q does not open: %s", dev.Name, who)
}
