package bundle

import (
	"io"

	"waycall/internal/plainfile"
)

// IsZip reports whether a file begins as a zip does.
func IsZip(path string) bool {
	f, err := plainfile.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	begin := make([]byte, 4)
	_, err = io.ReadFull(f, begin)
	return err == nil && string(begin) == "PK\x03\x04"
}
