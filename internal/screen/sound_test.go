package screen

import (
	"strings"
	"testing"

	"waycall/internal/audio"
	"waycall/internal/show"
)

func TestSoundEnd(t *testing.T) {
	var text, lines strings.Builder
	e := End{Device: "Headset", Rate: 8000, Seconds: 61.5, Lost: 2, GainDB: 6}
	if err := e.Write(&text, false); err != nil || !strings.Contains(text.String(), "62 s from Headset, 8000 Hz") || !strings.Contains(text.String(), "lost 2 times") {
		t.Errorf("%q, %v", text.String(), err)
	}
	if err := e.Write(&lines, true); err != nil || lines.String() != `{"event":"ended","sound":{"device":"Headset","rate":8000,"seconds":61.5,"lost":2,"gain_db":6}}`+"\n" {
		t.Errorf("%q, %v", lines.String(), err)
	}
	text.Reset()
	lines.Reset()
	e.Times = []show.Times{{Board: 2, Name: "Garage", Seconds: 3725, Phrases: 3, Tester: 5, Prompts: 2, Waycall: 65, Between: 3655}}
	if err := e.Write(&text, false); err != nil || !strings.HasPrefix(text.String(), "    time  board 2, 1 h 02 min: the tester spoke 5 s in 3 phrases, waycall about 1 min 05 s in 2, nobody for 1 h 00 min\n") {
		t.Errorf("%q, %v", text.String(), err)
	}
	if err := e.Write(&lines, true); err != nil || !strings.Contains(lines.String(), `"times":[{"board":2,"name":"Garage","seconds":3725,"phrases":3,"tester_s":5,"prompts":2,"waycall_s":65,"between_s":3655}]`) {
		t.Errorf("%q, %v", lines.String(), err)
	}
	NewJSON(&lines).Sound(audio.News{Text: "It is gone", Gone: true, Lost: 1})
	if !strings.HasSuffix(lines.String(), `{"event":"sound","text":"It is gone","gone":true,"lost":1}`+"\n") {
		t.Errorf("%q", lines.String())
	}
}
