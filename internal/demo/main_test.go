package demo

import (
	"os"
	"testing"
)

// smallDir is where the tour lies that the tests share.
var smallDir string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "nightreel-demo-")
	if err != nil {
		panic(err)
	}
	smallDir = dir
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}
