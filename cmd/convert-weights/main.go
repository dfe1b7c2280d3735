// Command convert-weights makes whisper.cpp's model file from whisper's weights in
// CTranslate2 format, with an adaptation merged in:
//
//	convert-weights [--adapter FILE] MODEL.bin TOKENIZER.json OUT.bin
//
// scripts/setup runs it. Exit codes: 0 done; 1 it failed; 2 the command line is
// wrong.
package main

import (
	"flag"
	"fmt"
	"os"

	"waycall/internal/lab/weights"
)

func main() {
	adapter := flag.String("adapter", "", "low-rank adaptation to merge, a safetensors file")
	flag.Usage = func() {
		fmt.Fprintln(os.Stderr, "usage: convert-weights [--adapter FILE] MODEL.bin TOKENIZER.json OUT.bin")
		flag.PrintDefaults()
	}
	flag.Parse()
	if flag.NArg() != 3 {
		flag.Usage()
		os.Exit(2)
	}
	err := weights.Convert(weights.Files{Model: flag.Arg(0), Tokenizer: flag.Arg(1), Adapter: *adapter, Out: flag.Arg(2)})
	if err != nil {
		fmt.Fprintf(os.Stderr, "convert-weights: %v\n", err)
		os.Exit(1)
	}
}
