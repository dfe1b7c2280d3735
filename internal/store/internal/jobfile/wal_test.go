package jobfile

import (
	"io"
	"testing"
)

// A log that changes while it is read is not taken for a damaged one.
func TestLogReadWhileWritten(t *testing.T) {
	short := io.ErrUnexpectedEOF
	for _, c := range []struct {
		scans []LogScan
		errs  []error
		want  LogScan
		looks int
	}{
		{scans: []LogScan{{commits: 3}}, want: LogScan{commits: 3}, looks: 1},
		{scans: []LogScan{{Behind: 5}, {commits: 1}}, want: LogScan{commits: 1}, looks: 2},
		{scans: []LogScan{{}, {commits: 1}}, errs: []error{short}, want: LogScan{commits: 1}, looks: 2},
		{scans: []LogScan{{Behind: 5, End: 1}, {Behind: 4, End: 2}, {Behind: 3, End: 3}, {}}, want: LogScan{}, looks: 4},
		{scans: []LogScan{{Behind: 5, End: 1}, {Behind: 5, End: 1}, {}}, want: LogScan{Behind: 5, End: 1}, looks: 2}, // damage
	} {
		looks := 0
		got, err := settled(func() (LogScan, error) {
			looks++
			var err error
			if looks <= len(c.errs) {
				err = c.errs[looks-1]
			}
			return c.scans[looks-1], err
		}, func() {})
		if got != c.want || err != nil || looks != c.looks {
			t.Errorf("%+v: %+v after %d looks, %v", c.scans, got, looks, err)
		}
	}
}
