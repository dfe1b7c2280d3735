package settings

import (
	"fmt"
	"strings"
)

// Table returns the settings as a page of Markdown, docs/settings.md.
func Table() string {
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

A name that is no setting, or a value that cannot be, is an error.

| in the file | flag | environment | what it is | takes | by default |
|---|---|---|---|---|---|
`)
	for _, s := range All {
		fmt.Fprintf(&b, "| `%s` | `--%s` | `%s` | %s | %s | %s |\n", s.Name, s.Name, s.Variable(), s.About, s.Takes, s.Unset)
	}
	b.WriteString(`
A command has the flags of the settings that it uses. An empty flag, such as
` + "`--copy-to \"\"`" + `, is the default, whatever the file and the environment say.

` + "`NO_COLOR`" + `, ` + "`TERM`" + `, ` + "`XDG_CONFIG_HOME`" + ` and ` + "`XDG_DATA_HOME`" + ` mean what they mean elsewhere.
`)
	return b.String()
}
