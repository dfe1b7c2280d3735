//go:build pages

// With this tag, which only scripts/package sets, waycall can write its own manual
// pages. What is shipped has no need to, nor of the libraries that it takes.

package main

import (
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"waycall/internal/command"
)

func init() {
	extra = append(extra, &cobra.Command{
		Use:    "pages FOLDER",
		Short:  "Write the manual pages into a folder",
		Hidden: true,
		Args:   command.Args(1, 1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			cmd.Root().DisableAutoGenTag = true
			// The date is SOURCE_DATE_EPOCH, which scripts/package sets.
			return doc.GenManTree(cmd.Root(), &doc.GenManHeader{Section: "1", Source: "waycall " + version, Manual: "waycall"}, args[0])
		},
	})
}
