package main

import (
	"context"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/weights"
)

func newWeights() *cobra.Command {
	var o weights.Files
	cmd := &cobra.Command{
		Use:   "weights [--adapter FILE] MODEL.bin TOKENIZER.json OUT.bin",
		Short: "Make whisper.cpp's model file of published weights",
		Long: `Makes whisper.cpp's model file from whisper's weights in CTranslate2 format, with
an adaptation merged in. scripts/setup runs it.`,
		Args: command.Args(3, 3, "the model, its tokenizer and the file to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.Model, o.Tokenizer, o.Out = args[0], args[1], args[2]
			return runWeights(cmd.Context(), o)
		},
	}
	cmd.Flags().StringVar(&o.Adapter, "adapter", "", "low-rank adaptation to merge, a safetensors file")
	return cmd
}

func runWeights(_ context.Context, o weights.Files) error { return weights.Convert(o) }
