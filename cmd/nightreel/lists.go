package main

import (
	"fmt"
	"io"
	"os"
)

// readFile reads a list from a file, or from standard input for "-".
func readFile[T any](path string, read func(r io.Reader, name string) (T, error)) (T, error) {
	if path == "-" {
		return read(os.Stdin, "standard input")
	}
	f, err := os.Open(path)
	if err != nil {
		var none T
		return none, fmt.Errorf("%s: could not read the list: %w", path, err)
	}
	defer f.Close()
	return read(f, path)
}
