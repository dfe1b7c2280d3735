package talk

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"waycall/internal/board/boardtest"
	"waycall/internal/check"
	"waycall/internal/reading"
	"waycall/internal/record"
	"waycall/internal/say"
	"waycall/internal/say/espeak"
)

// BenchmarkReadBack measures how long waycall speaks to read a reading back in brief,
// with its verdict and the tone for listening: for every test with values as they
// usually are, when the value alone was said, the test too, and the way as well. With
// -v it prints the table by test, each figure the longest of the test's values, in
// seconds, and at the end all that is longer than 2.5 s.
func BenchmarkReadBack(b *testing.B) {
	voice, err := espeak.Open(0)
	if err != nil {
		b.Fatal(err)
	}
	usual := map[reading.Unit][]string{
		reading.Megohm: {">999", "200", "377", "46", "1.5"}, reading.Ohm: {"0.46", "0.05", "1.32"},
		reading.Millisec: {"28", "187"}, reading.Kiloamp: {"2.45", "0.9"}, reading.Milliamp: {"21", "19.5"}, reading.NoUnit: {""},
	}
	places := []struct {
		way  int
		test reading.Test
	}{
		{0, reading.Earthing}, {0, reading.Bonding}, {0, reading.RA}, {0, reading.Ze}, {0, reading.PFC}, {0, reading.PSC}, {0, reading.PhaseSequence},
	}
	for _, test := range []reading.Test{
		reading.R1R2, reading.R2, reading.RingR1, reading.RingRn, reading.RingR2, reading.RingLN, reading.RingLE,
		reading.LNE, reading.LE, reading.NE, reading.LN, reading.LL, reading.L1E, reading.L2E, reading.L3E, reading.L1L2, reading.L2L3, reading.L1L3,
		reading.L1N, reading.L2N, reading.L3N, reading.Polarity, reading.Zs, reading.RCD1x, reading.RCD5x, reading.RCDHalf, reading.RCDRamp,
		reading.RCDButton, reading.Functional,
	} {
		places = append(places, struct {
			way  int
			test reading.Test
		}{3, test})
	}
	record := record.State{Job: boardtest.Read(b, "workshop.yaml")}
	var out strings.Builder
	var all []float64
	var over []string
	for b.Loop() {
		out.Reset()
		all, over = nil, nil
		w := tabwriter.NewWriter(&out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "test\tvalue\tand test\tand way three\tand way twenty four\tthe last")
		for _, p := range places {
			row, said := [4]float64{}, ""
			for _, value := range usual[p.test.Unit()] {
				q := reading.Correct
				if value != "" {
					if q, err = reading.ParseQuantity(value, p.test.Unit()); err != nil {
						b.Fatal(err)
					}
				}
				for i, named := range [][2]bool{{false, false}, {false, true}, {true, true}, {true, true}} {
					way := p.way
					if way == 0 && named[0] {
						continue
					}
					if i == 3 {
						way = 24
					}
					seconds, text := briefly(b, voice, record, way, p.test, q, named)
					all = append(all, seconds)
					if seconds > 2.5 {
						over = append(over, fmt.Sprintf("%.2f %s", seconds, text))
					}
					row[i], said = max(row[i], seconds), text
				}
			}
			fmt.Fprintf(w, "%s\t%.2f\t%.2f\t%.2f\t%.2f\t%s\n", p.test, row[0], row[1], row[2], row[3], said)
		}
		w.Flush()
	}
	b.Logf("%d read-backs\n%s\nover 2.5 s: %d\n%s", len(all), out.String(), len(over), strings.Join(over, "\n"))
	slices.Sort(all)
	b.ReportMetric(all[len(all)/2], "s/p50")
	b.ReportMetric(all[len(all)-1], "s/max")
	b.ReportMetric(float64(len(over)), "over-2.5-s")
}

// briefly returns how long a reading is read back in brief, and in which words.
func briefly(b *testing.B, voice say.Voice, r record.State, way int, test reading.Test, q reading.Quantity, named [2]bool) (float64, string) {
	slot := record.Slot{Board: 1, Way: way, Test: test}
	if test == reading.Bonding {
		slot.Position = 1
	}
	r.Pending = &record.Proposal{Slot: slot, Quantity: q, Verdict: check.Verdict{Result: check.Pass}}
	t := &turn{s: State{Record: r, named: 1, times: [prompts]uint8{readPrompt: 3}}, placed: named}
	text := t.readBack(true)
	if strings.Contains(text, "Confirm") {
		b.Fatalf("%q is not brief", text)
	}
	sound, err := voice.Speak(say.Words(text), t.rate())
	if err != nil {
		b.Fatal(err)
	}
	return (sound.Duration() + say.Tone(string(Listening)).Duration()).Round(10 * time.Millisecond).Seconds(), text
}
