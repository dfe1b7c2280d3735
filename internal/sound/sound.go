// Package sound reads and writes the files of sound that waycall knows, WAV and FLAC. What
// it reads may come from anywhere: nothing in a file makes it crash, and no more of it is
// taken into memory than was asked for.
package sound
