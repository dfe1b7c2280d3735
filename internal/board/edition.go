package board

import (
	"reflect"
	"strings"
)

// Edition is an edition of BS 7671, as it is cited.
type Edition string

// The editions that a job may be judged by.
const (
	A2 Edition = "BS 7671:2018+A2:2022" // with A3:2024 from 31 July 2024; withdrawn on 15 October 2026
	A4 Edition = "BS 7671:2018+A4:2026" // published on 15 April 2026
)

// Current is the edition that a new job is judged by where its board file names
// none. It is the one place that says so.
const Current = A4

// Editions are those that a job may name, the oldest first.
func Editions() []Edition { return []Edition{A2, A4} }

// JudgedBy returns the edition that the job is judged by. A job that says nothing
// was set up before jobs said it, when all were judged by A2.
func (j Job) JudgedBy() Edition {
	if j.Edition == "" {
		return A2
	}
	return j.Edition
}

// Of returns source with the edition put in wherever it names BS 7671 without one:
// "BS 7671 Table 64" becomes "BS 7671:2018+A4:2026 Table 64". What names an edition
// already stays as it is.
func (e Edition) Of(source string) string {
	return strings.ReplaceAll(source, "BS 7671 ", string(e)+" ")
}

// Same reports whether two descriptions are of one job. The edition does not count:
// a job keeps the one that it was opened with, whatever its board file says later.
func (j Job) Same(other Job) bool {
	other.Edition = j.Edition
	return reflect.DeepEqual(j, other)
}
