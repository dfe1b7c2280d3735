// This file writes what is printed for other programs.

package printable

import (
	"encoding/json"
	"io"
)

// WriteJSON writes v as JSON over several lines, with ">" as it is and nothing hidden in
// its texts.
func WriteJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(JSON(w))
	enc.SetEscapeHTML(false) // ">999" stays as it is read
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}
