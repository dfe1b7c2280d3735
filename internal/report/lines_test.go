package report_test

import (
	"io"
	"strings"
	"testing"

	"waycall/internal/board/boardtest"
	"waycall/internal/reading"
	"waycall/internal/report"
	"waycall/internal/report/paper"
	"waycall/internal/report/plaintext"
	"waycall/internal/report/reporttest"
	"waycall/internal/report/spreadsheet"
)

// A way is on every form of the schedule as the board is marked, and keeps its number
// in JSON.
func TestWaysByTheirLines(t *testing.T) {
	w := &reporttest.Work{T: t}
	w.Open(boardtest.Read(t, "lines.yaml"))
	w.Prepare()
	w.Take(reporttest.At(201, reading.R1R2, 0), "0.7")
	s := report.Build(w.S)
	for name, c := range map[string]struct {
		write func(io.Writer) error
		want  string
	}{
		"text":  {func(out io.Writer) error { return plaintext.Write(out, s) }, "\n1L2  "},
		"csv":   {func(out io.Writer) error { return spreadsheet.CSV(out, s) }, `TN-S,1L2,,"Lighting, back"`},
		"json":  {func(out io.Writer) error { return report.Write(out, s) }, `"marked": "1L2"`},
		"paper": {func(out io.Writer) error { return paper.Write(out, s) }, "%PDF"},
		"book":  {func(out io.Writer) error { return spreadsheet.XLSX(out, s) }, "PK"},
	} {
		if got := reporttest.Written(t, c.write); !strings.Contains(got, c.want) {
			t.Errorf("%s lacks %q:\n%s", name, c.want, got)
		}
	}
	text := reporttest.Written(t, func(out io.Writer) error { return report.Write(out, s) })
	if _, err := report.Read(strings.NewReader(text)); err != nil {
		t.Errorf("its JSON is not read back: %v", err)
	}
}
