package screen

import (
	"strings"
	"testing"

	"waycall/internal/audio"
)

func TestSoundEnd(t *testing.T) {
	var text, lines strings.Builder
	e := End{"Headset", 8000, 61.5, 2, 6}
	if err := e.Write(&text, false); err != nil || !strings.Contains(text.String(), "62 s from Headset, 8000 Hz") || !strings.Contains(text.String(), "lost 2 times") {
		t.Errorf("%q, %v", text.String(), err)
	}
	if err := e.Write(&lines, true); err != nil || lines.String() != `{"event":"ended","sound":{"device":"Headset","rate":8000,"seconds":61.5,"lost":2,"gain_db":6}}`+"\n" {
		t.Errorf("%q, %v", lines.String(), err)
	}
	NewJSON(&lines).Sound(audio.News{Text: "It is gone", Gone: true, Lost: 1})
	if !strings.HasSuffix(lines.String(), `{"event":"sound","text":"It is gone","gone":true,"lost":1}`+"\n") {
		t.Errorf("%q", lines.String())
	}
}
