package settings

import (
	"fmt"
	"strings"
)

// table returns the settings as a page of Markdown, docs/settings.md.
func table() string {
	var b strings.Builder
	b.WriteString(`# Settings

Made by ` + "`go test ./internal/settings -update`" + ` from the code; do not edit.

What is set once holds for every session. ` + "`waycall settings`" + ` shows what holds now and
where each value comes from: a flag, else the environment, else the file, else the
default. The file is ` + "`~/.config/waycall/settings.yaml`" + ` (below ` + "`$XDG_CONFIG_HOME`" + `, where
that is set), one setting a line; ` + "`~/`" + ` at the beginning of a path is your home folder:

    mic: headset
    speech-rate: 150
    data: ~/jobs

A name that is no setting, a name given twice, a value that cannot be, and a file of nearly
that name beside it (` + "`settings.yml`" + `), which would not be read, are errors. A variable that begins
with ` + "`WAYCALL_`" + ` and is no setting is pointed out by ` + "`waycall settings`" + `.

| in the file | flag | environment | what it is | takes | by default |
|---|---|---|---|---|---|
`)
	for _, s := range All {
		fmt.Fprintf(&b, "| `%s` | `--%s` | `%s` | %s | %s | %s |\n", s.Name, s.Name, s.Variable(), s.About, s.Takes, s.Unset)
	}
	b.WriteString(`
A command has the flags of the settings that it uses. An empty flag for a folder, a file
or a name, such as ` + "`--copy-to \"\"`" + `, is the default, whatever the file and the environment say.

## What is not a setting

` + "`--accept`" + ` and ` + "`--tester`" + ` are flags of ` + "`waycall start`" + ` alone. With ` + "`--accept agreed`" + ` a reading
is stored without "confirm" when the next one begins, and with ` + "`--tester`" + ` somebody signs for
what is recorded. Either holds for one session, chosen by whoever begins it: set once for
all, it would hold for the next person at the same laptop, who did not choose it. Who
tests by default stands in the job.

## Colour and the environment

With ` + "`NO_COLOR`" + ` set and not empty, or ` + "`TERM=dumb`" + `, or when the output is not a terminal, nothing
is coloured; nothing is said by colour alone. ` + "`XDG_CONFIG_HOME`" + ` and ` + "`XDG_DATA_HOME`" + ` move
the file of settings and the jobs.
`)
	return b.String()
}
