package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"waycall/internal/board"
	"waycall/internal/command"
	"waycall/internal/limits"
)

// limitsOut is what waycall limits prints as JSON.
type limitsOut struct {
	Edition board.Edition   `json:"edition"` // of BS 7671, that a new job is judged by
	Rests   limits.Rests    `json:"rests_on"`
	Rows    int             `json:"rows"`
	Tables  []limits.Table  `json:"tables"`
	Figures []limits.Row    `json:"figures"`
	Sources []limits.Source `json:"sources"`
}

// limitsOptions are the flags of waycall limits.
type limitsOptions struct {
	table string
	json  bool
}

func newLimits() *cobra.Command {
	var o limitsOptions
	cmd := &cobra.Command{
		Use:   "limits",
		Short: "List the tables of limits and what their figures rest on",
		Long: `Lists the tables that readings are judged by, with how many of their rows rest on a
public page or book that was read, follow from one, are from memory, or are common
practice without a published source; then the sources. With --table it lists the rows
of one table, each with what it rests on.

Nobody had the standards themselves open, and what was read prints older editions of
BS 7671 than the one in force. Check a figure against your own copy before you rest on
it.`,
		Example: "  waycall limits\n  waycall limits --table 41.3\n  waycall limits --json",
		Args:    command.Args(0, 0, "no argument"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return runLimits(streamsOf(cmd), o) },
	}
	cmd.Flags().StringVar(&o.table, "table", "", "list the rows of this table, such as 41.3")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON")
	return cmd
}

func runLimits(std streams, o limitsOptions) error {
	out := limitsOut{Edition: board.Current, Tables: limits.Tables(), Figures: limits.Rows(), Sources: limits.Sources()}
	if o.table != "" {
		other := func(name string) bool { return name != o.table }
		out.Tables = slices.DeleteFunc(out.Tables, func(t limits.Table) bool { return other(t.Name) })
		out.Figures = slices.DeleteFunc(out.Figures, func(r limits.Row) bool { return other(r.Table) })
		if len(out.Tables) == 0 {
			return command.UsageError{Err: fmt.Errorf("there is no table %.40q; waycall limits lists them", o.table)}
		}
		out.Sources = named(out.Sources, out.Figures)
	}
	for _, t := range out.Tables {
		out.Rows += t.Rows
		out.Rests.Read += t.Rests.Read
		out.Rests.Implied += t.Rests.Implied
		out.Rests.Memory += t.Rests.Memory
		out.Rests.Practice += t.Rests.Practice
	}
	if o.json {
		enc := json.NewEncoder(std.out)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		return enc.Encode(out)
	}
	return out.text(std.out, o.table != "")
}

// named keeps the sources that rows name.
func named(all []limits.Source, rows []limits.Row) []limits.Source {
	return slices.DeleteFunc(all, func(s limits.Source) bool {
		return !slices.ContainsFunc(rows, func(r limits.Row) bool { return slices.Contains(r.From, s.ID) })
	})
}

func (o limitsOut) text(w io.Writer, rows bool) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "LIMITS, %s\n\n", o.Edition)
	if rows {
		for _, one := range o.Tables {
			fmt.Fprintf(t, "%s. %s, %s. %s\n\n", one.Title, one.Source, one.Edition, one.Note)
		}
		for _, r := range o.Figures {
			fmt.Fprintf(t, "%s\t%s\n", strings.Join(r.Cells, "\t"), strings.TrimSpace(r.How+" "+strings.Join(r.From, " ")))
		}
	} else {
		fmt.Fprintln(t, "Table\tRows\tRead\tImplied\tFrom memory\tPractice\tTitle")
		for _, one := range o.Tables {
			fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%d\t%s\n", one.Name, one.Rows, one.Rests.Read, one.Rests.Implied, one.Rests.Memory, one.Rests.Practice, one.Title)
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\n%d of %d rows have a witness: %d were read in a public page or book, %d follow from one. %d are from memory, %d are common practice without a published source.\n",
		o.Rests.Witnessed(), o.Rows, o.Rests.Read, o.Rests.Implied, o.Rests.Memory, o.Rests.Practice)
	fmt.Fprintln(w, "What was read prints older editions; nobody had the standards themselves open.")
	if len(o.Sources) > 0 {
		fmt.Fprintln(w, "\nSOURCES")
	}
	for _, s := range o.Sources {
		fmt.Fprintf(w, "%-4s%s (%s). %s. Rows: %d.\n", s.ID, s.Title, s.Edition, s.Where, s.Rows)
	}
	return nil
}
