package main

import (
	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/rooms"
)

func newRooms() *cobra.Command {
	return &cobra.Command{
		Use:   "rooms",
		Short: "Draw how the packages import each other into docs/rooms.md",
		Args:  command.Args(0, 0, "no arguments"),
		RunE:  func(cmd *cobra.Command, args []string) error { return rooms.Draw() },
	}
}
