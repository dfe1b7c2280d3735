package main

import (
	"context"

	"github.com/spf13/cobra"

	"waycall/internal/lab/rooms"
)

func newRooms() *cobra.Command {
	return &cobra.Command{
		Use:   "rooms",
		Short: "Draw how the packages import each other into DEVELOPERS.md",
		Args:  wantArgs(0, 0, "no arguments"),
		RunE:  func(cmd *cobra.Command, args []string) error { return runRooms(cmd.Context(), "DEVELOPERS.md") },
	}
}

func runRooms(_ context.Context, page string) error { return rooms.Draw(page) }
