package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/lab/phrases"
	"waycall/internal/phrase"
)

func newPhrases() *cobra.Command {
	o := phrases.Options{Counts: map[string]*int{}}
	cmd := &cobra.Command{
		Use:   "phrases",
		Short: "Make up phrases from the grammar",
		Long: `Makes up phrases from the grammar, for training the model and for measuring it:
JSON objects, one a line, with the text to be spoken and what should be understood.

No text comes twice, except commands, of which there are few: these are repeated
to make up their number, to be spoken in other voices.`,
		Example: `  lab phrases --seed 1 --reading 500 --value 300 --command 200 --talk FILE > phrases.jsonl
  lab phrases --seed 1 --several 50 --repair 100    # of these rules alone
  lab phrases --seed 1 --ahead models/adapt --planned 200 ...
  lab phrases --texts testdata/bench/large.txt      # these phrases, not new ones
  lab phrases --label texts.txt                     # what is to be understood of each line`,
		Args: command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPhrases(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	flags := cmd.Flags()
	flags.Uint64Var(&o.Seed, "seed", 1, "seed of the choice")
	for _, kind := range phrases.Kinds {
		o.Counts[kind] = flags.Int(kind, 0, "number of phrases of the kind "+kind)
	}
	flags.IntVar(&o.Ways, "ways", phrase.MaxWay, "highest way; the grammar has names for 99")
	flags.IntVar(&o.Planned, "planned", 0, "number of phrases of ahead.gram")
	flags.StringVar(&o.Ahead, "ahead", "models/adapt", "folder of ahead.gram")
	flags.StringVar(&o.Texts, "texts", "", "file of phrases of the grammar, one a line, instead of phrases made up")
	flags.StringVar(&o.Label, "label", "", "file of texts, one a line, to be labelled: none where one is no phrase of the grammar")
	flags.StringVar(&o.Talk, "talk", "", "file of talk to be ignored, one sentence a line")
	flags.StringVar(&o.Fold, "fold", "all", "which of the talk: one sentence in six (fit), the others (train), or all")
	return cmd
}

func runPhrases(_ context.Context, out io.Writer, o phrases.Options) error {
	return phrases.Write(out, o)
}
