package session

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"waycall/grammar"
	"waycall/internal/audio"
	"waycall/internal/audio/audiotest"
	"waycall/internal/phrase"
	"waycall/internal/record"
	"waycall/internal/store"
	"waycall/internal/talk"
)

// BenchmarkStored takes phrases of two seconds at a job of three boards with 100,000
// events in its log, on the disk, and reports how long each waits from its meaning
// until it is stored: the conversation and the store together, without hearing and
// speech; and, to judge that by, what the disk takes to write and sync the sound alone.
// The phrases are values, corrections, confirmations and readings taken back,
// one after the other without a rest. Filling the log takes a few minutes.
func BenchmarkStored(b *testing.B) {
	g, err := phrase.Load(grammar.Files)
	if err != nil {
		b.Fatal(err)
	}
	heard := func(text string) talk.Heard {
		m, ok := g.Meaning(text)
		if !ok {
			b.Fatalf("%q is not in the grammar", text)
		}
		p := record.Phrase{Outcome: "reading", Agreed: true, Text: text, Meaning: recorded(m), Words: map[string]string{"whisper": text, "sphinx": text}}
		return talk.Heard{At: time.Now(), Meaning: m, Phrase: p}
	}
	log, err := store.Create(filepath.Join(b.TempDir(), "job.waycall"))
	if err != nil {
		b.Fatal(err)
	}
	defer log.Close()
	short := audio.EncodeWAV(make(audio.Clip, 160)) // what fills the log has little sound, to save disk
	var state talk.State
	step := func(e talk.Event) {
		var effects []talk.Effect
		state, effects = talk.Step(state, e)
		var facts []record.Event
		for _, f := range effects {
			if a, ok := f.(talk.Append); ok {
				facts = append(facts, a.Event)
			}
		}
		sound := short
		if facts[0].Kind != record.Heard {
			sound = nil
		}
		if _, err := log.Append(b.Context(), facts, sound); err != nil {
			b.Fatal(err)
		}
	}
	step(talk.Begin{At: time.Now(), Job: workshop(b)})
	for _, text := range preparation {
		step(heard(text))
	}
	cycle := []string{"way one line to line two hundred", "confirm", "way one line to line three hundred", "no three hundred and six", "confirm",
		"way two line to line four hundred", "confirm", "scratch that"}
	for i := 0; state.Record.LastID < 100000 || i%len(cycle) != 0; i++ {
		step(heard(cycle[i%len(cycle)]))
	}
	readings := len(state.Record.Readings)

	// What the disk alone takes for as much, in turn, to judge the figures by.
	plain, err := os.Create(filepath.Join(b.TempDir(), "plain"))
	if err != nil {
		b.Fatal(err)
	}
	defer plain.Close()
	var conversation, stored, both, disk []time.Duration
	r := &run{state: state, Session: &Session{
		Ear: &ear{}, Voice: &voice{}, Player: mute{}, Source: audiotest.Source(), Log: log, Watch: &watcher{}, Now: time.Now,
		Timed: func(t Timing) {
			conversation, stored, both = append(conversation, t.Conversation), append(stored, t.Store), append(both, t.Conversation+t.Store)
		},
	}, ends: audio.NewEndpointer(audio.Settings{})}
	sound := tone(time.Second)
	wav := audio.EncodeWAV(sound)
	for i := 0; b.Loop(); i++ {
		r.timing = &Timing{}
		if _, err := r.answer(b.Context(), heard(cycle[i%len(cycle)]), sound); err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		if _, err := plain.Write(wav); err != nil {
			b.Fatal(err)
		}
		if err := plain.Sync(); err != nil {
			b.Fatal(err)
		}
		disk = append(disk, time.Since(start))
	}
	if n := len(r.state.Record.Readings) - readings; n < b.N/4 {
		b.Fatalf("of %d phrases only %d stored a reading", b.N, n)
	}
	for name, all := range map[string][]time.Duration{"conversation": conversation, "store": stored, "both": both, "write-and-sync": disk} {
		slices.Sort(all)
		b.ReportMetric(float64(all[len(all)/2])/float64(time.Millisecond), name+"-p50-ms")
		b.ReportMetric(float64(all[(len(all)-1)*99/100])/float64(time.Millisecond), name+"-p99-ms")
	}
}
