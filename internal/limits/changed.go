//go:build changedtables

// This file is for scripts/lab/mutate-tables alone, which runs the tests with other tables
// than those built in. What is shipped is built without it and never looks there.

package limits

import (
	"fmt"
	"os"
)

// init reads the tables from the folder that WAYCALL_CHANGED_TABLES names.
func init() {
	d, err := load(os.DirFS(os.Getenv("WAYCALL_CHANGED_TABLES")))
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	data = d
}
